"""Playing sound so that it can be cut off within one block."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # the voice's own process imports this package, and plays nothing
    import numpy as np
    from numpy.typing import NDArray

from companion.errors import AudioError

BLOCK_S = 0.02
"""Seconds of sound handed over at a time: a cut is noticed this often."""

_FAINT = 0.003
_TAIL_S = 0.12
_LATENCY_S = 0.06
_OPEN_S = 8.0
_JITTER_S = 0.1

Emitted = Callable[[float, int], None]


def _nothing(at_s: float, frames: int) -> None:
    pass


def audible(mono: NDArray[np.float32], rate: int) -> NDArray[np.float32]:
    """Sound with just the silence after it that a device needs.

    Engines append up to half a second, in which nobody may answer yet; without any,
    the last tenth of a second can be lost when the stream stops.
    """
    import numpy as np

    loud = np.flatnonzero(np.abs(mono) > _FAINT)
    sound = mono[: loud[-1] + 1] if len(loud) else mono[:0]
    return np.concatenate([sound, np.zeros(round(rate * _TAIL_S), np.float32)])


def load(wav: Path) -> tuple[NDArray[np.float32], int]:
    """A sound file as mono in −1 … 1, and its samples a second.

    Raises:
        AudioError: the file can't be read.
    """
    import soundfile

    try:
        samples, rate = soundfile.read(wav, dtype="float32", always_2d=True)
    except (OSError, soundfile.LibsndfileError) as error:
        raise AudioError(
            f"{wav} can't be played: {error}.",
            safe="The prompt can be read on the screen.", do="Say 'repeat'.",
        ) from error  # fmt: skip
    return audible(samples.mean(axis=1), rate), rate


class Loudspeaker:
    """An output device. Used from one thread, but for ``why_silent``.

    The stream stays open, fed with silence, for some seconds after a sound: so the way
    from here to the microphone stays as long as it was, which an echo canceller needs.
    Closed, it costs nothing.

    Args:
        name: part of the device's name; None for the system's default.
    """

    def __init__(self, name: str | None = None) -> None:
        self._name = name
        self._stream: Any = None
        self._rate = 0
        self._room = 0
        self._due_s = 0.0
        self._last_sound_s = 0.0

    def _device(self) -> tuple[Any, dict[str, Any]] | str:
        """sounddevice and what it says of the device, or why there is none."""
        try:
            import sounddevice
        except OSError:
            return (
                "No sound is played: PortAudio is not installed (Debian and Ubuntu: libportaudio2)."
            )
        try:
            return sounddevice, self._named(sounddevice)
        except (sounddevice.PortAudioError, ValueError):
            return "No sound is played: this computer shows no loudspeaker or headset."

    def _named(self, sounddevice: Any) -> dict[str, Any]:
        """The device by its name; a name that only a microphone has leaves the default."""
        if self._name is not None:
            try:
                return dict(sounddevice.query_devices(self._name, kind="output"))
            except ValueError:
                pass
        return dict(sounddevice.query_devices(kind="output"))

    def why_silent(self) -> str | None:
        """One line on why ``play`` would play nothing; None when it can play."""
        found = self._device()
        return found if isinstance(found, str) else None

    def _open(self) -> bool:
        if self._stream is not None:
            return True
        found = self._device()
        if isinstance(found, str):
            return False
        sounddevice, device = found
        self._rate = round(device["default_samplerate"])
        try:
            self._stream = sounddevice.RawOutputStream(
                self._rate, device=device["index"], channels=1, dtype="int16", latency=_LATENCY_S
            )
            self._stream.start()
            self._room = self._stream.write_available
        except sounddevice.PortAudioError:
            self.close()
            if self._name is None:
                return False
            self._name = None  # better heard from the default than from nowhere
            return self._open()
        return True

    def _write(self, block: NDArray[np.int16]) -> float:
        """Hand over a block; the steady clock when it becomes sound."""
        waiting = max(0, self._room - self._stream.write_available)
        at_s = time.monotonic() + waiting / self._rate
        if abs(at_s - self._due_s) < _JITTER_S:
            at_s = self._due_s  # the device's clock is steady, our view of it is not
        ran_dry = self._stream.write(block.tobytes())
        self._due_s = 0.0 if ran_dry else at_s + len(block) / self._rate
        return float(at_s)

    def play(
        self,
        mono: NDArray[np.float32],
        rate: int,
        cut: threading.Event,
        emitted: Emitted = _nothing,
    ) -> bool:
        """Play mono sound in −1 … 1 to its end, at the device's own rate.

        Args:
            mono: the sound, ``rate`` samples a second.
            cut: once set, no further block is handed over; the device still holds
                some hundredths of a second.
            emitted: told for each block when it becomes sound (steady clock, seconds)
                and how many samples of ``mono`` it holds.

        Returns:
            Whether it was played to its end or to ``cut``; False where nothing can play
            or the device went away.
        """
        import numpy as np
        import soxr

        if not self._open():
            return False
        sound = np.clip(soxr.resample(mono, rate, self._rate), -1.0, 1.0)
        pcm = (sound * 32767).astype(np.int16)
        step = max(1, round(self._rate * BLOCK_S))
        try:
            for start in range(0, len(pcm), step):
                if cut.is_set():
                    break
                block = pcm[start : start + step]
                emitted(self._write(block), round(len(block) * rate / self._rate))
        except Exception as error:  # PortAudioError has no name here
            if type(error).__name__ != "PortAudioError":
                raise
            self.close()
            return False
        self._last_sound_s = time.monotonic()
        return True

    def rest(self) -> bool:
        """Feed a block of silence, if the stream is to stay open; whether it is."""
        import numpy as np

        if self._stream is None:
            return False
        if time.monotonic() - self._last_sound_s > _OPEN_S:
            self.close()
            return False
        try:
            self._write(np.zeros(round(self._rate * BLOCK_S), np.int16))
        except Exception as error:
            if type(error).__name__ != "PortAudioError":
                raise
            self.close()
            return False
        return True

    def close(self) -> None:
        """Let go of the device."""
        if self._stream is not None:
            self._stream.close(ignore_errors=True)
            self._stream = None
