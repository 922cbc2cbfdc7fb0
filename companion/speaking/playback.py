"""Playing a prompt so that it can be cut off within one block."""

from __future__ import annotations

import threading
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


def _loudspeaker() -> tuple[Any, int] | str:
    """sounddevice and the output device's own rate in hertz, or why there is none."""
    try:
        import sounddevice
    except OSError:
        return "No sound is played: PortAudio is not installed (Debian and Ubuntu: libportaudio2)."
    try:
        return sounddevice, round(sounddevice.query_devices(kind="output")["default_samplerate"])
    except (sounddevice.PortAudioError, ValueError):
        return "No sound is played: this computer shows no loudspeaker or headset."


def why_silent() -> str | None:
    """One line on why ``play`` would play nothing; None when it can play."""
    found = _loudspeaker()
    return found if isinstance(found, str) else None


def _ready(mono: NDArray[np.float32], rate: int) -> NDArray[np.int16]:
    """Sound in the device's form, with just the silence after it that the device needs.

    Engines append up to half a second, in which nobody may answer yet; without any,
    the last tenth of a second can be lost when the stream stops.
    """
    import numpy as np

    audible = np.flatnonzero(np.abs(mono) > _FAINT)
    sound = mono[: audible[-1] + 1] if len(audible) else mono[:0]
    padded = np.concatenate([sound, np.zeros(round(rate * _TAIL_S), np.float32)])
    pcm: NDArray[np.int16] = (np.clip(padded, -1.0, 1.0) * 32767).astype(np.int16)
    return pcm


def play(wav: Path, stop: threading.Event) -> bool:
    """Play a sound file on the default output, at the device's own rate, until its end.

    Args:
        wav: any file that libsndfile reads.
        stop: once set, the sound is cut within a block and what the device still
            holds is thrown away. Only this thread touches the stream.

    Returns:
        Whether it was played to its end or to ``stop``; False where nothing can play
        or the device went away.

    Raises:
        AudioError: the file can't be read.
    """
    import soundfile
    import soxr

    try:
        samples, rate = soundfile.read(wav, dtype="float32", always_2d=True)
    except (OSError, soundfile.LibsndfileError) as error:
        raise AudioError(
            f"{wav} can't be played: {error}.",
            safe="The prompt can be read on the screen.", do="Say 'repeat'.",
        ) from error  # fmt: skip
    found = _loudspeaker()
    if isinstance(found, str):
        return False
    sounddevice, device_rate = found
    pcm = _ready(soxr.resample(samples.mean(axis=1), rate, device_rate), device_rate)
    step = max(1, round(device_rate * BLOCK_S))
    try:
        with sounddevice.RawOutputStream(device_rate, channels=1, dtype="int16") as stream:
            for start in range(0, len(pcm), step):
                if stop.is_set():
                    stream.abort()
                    break
                stream.write(pcm[start : start + step].tobytes())
    except sounddevice.PortAudioError:
        return False
    return True
