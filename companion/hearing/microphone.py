"""The microphone as a source, with a gate that shuts it while the companion speaks."""

from __future__ import annotations

import contextlib
import queue
import time
from typing import Any, Literal

import numpy as np

from companion.errors import AudioError, NoMicrophone
from companion.hearing.source import Block, Resampler

BLOCK_S = 0.04
"""Seconds of sound that the device hands over at a time."""

_HELD_S = 10.0
_ECHO_S = 0.25
_SILENT_S = 2.0


class Intake:
    """What happens between the device's callback and whoever reads: a bounded queue with a gate.

    Args:
        rate: the device's samples a second.
        channels: how many of int16 lie interleaved in what it gives.
    """

    def __init__(self, rate: int, channels: int) -> None:
        self.dropped_blocks = 0
        self._rate, self._channels = rate, channels
        self._blocks: queue.Queue[tuple[float, bytes]] = queue.Queue(round(_HELD_S / BLOCK_S))
        self._paused, self._closed = False, False
        self._still_deaf = 0
        self._seen = 0
        self._last_given_s = time.monotonic()
        self._resampler = Resampler(rate)

    def give(self, data: bytes, overflowed: bool = False) -> None:
        """Called by the device: only queues, so that it never waits for anybody.

        Sound that comes while the gate is shut is let go; sound that nobody fetched
        in ten seconds, or that the device lost itself, is counted in ``dropped_blocks``.
        """
        self._last_given_s = time.monotonic()
        frames = len(data) // (2 * self._channels)
        start_s, self._seen = self._seen / self._rate, self._seen + frames
        self.dropped_blocks += overflowed
        if self._paused:
            return
        if self._still_deaf > 0:
            self._still_deaf -= frames
            return
        try:
            self._blocks.put_nowait((start_s, data))
        except queue.Full:
            self.dropped_blocks += 1

    def pause(self) -> None:
        """Shut the gate, and forget what was not fetched yet."""
        self._paused = True
        with contextlib.suppress(queue.Empty):
            while True:
                self._blocks.get_nowait()

    def resume(self) -> None:
        """Open the gate, a quarter of a second from now: the room still rings until then."""
        self._still_deaf = round(_ECHO_S * self._rate)
        self._paused = False

    def close(self) -> None:
        """Let the reader know that nothing more will come."""
        self._closed = True

    def read(self) -> Block | None:
        """The next block as the recogniser takes it; None once closed.

        Raises:
            AudioError: the device has given nothing for two seconds.
        """
        while not self._closed:
            try:
                start_s, data = self._blocks.get(timeout=0.1)
            except queue.Empty:
                if time.monotonic() - self._last_given_s > _SILENT_S:
                    raise AudioError(
                        "The microphone gives no more sound.",
                        safe="Everything up to here is in the record.",
                        do="Plug it in again and resume the call.",
                    ) from None
                continue
            frames = np.frombuffer(data, np.int16).reshape(-1, self._channels)
            samples = self._resampler(frames.astype(np.float32) / 32768.0)
            if len(samples):
                return Block(start_s, samples)
        return None


class Microphone:
    """The system's default microphone, at its own rate.

    Open it after the model is loaded, or its first seconds wait in the queue.

    Raises:
        NoMicrophone: no PortAudio, or no device that can be opened; it says what to do.
    """

    kind: Literal["microphone"] = "microphone"

    def __init__(self) -> None:
        try:
            import sounddevice
        except OSError as error:
            raise NoMicrophone(
                "The microphone can't be reached: PortAudio is not installed.",
                safe="Nothing was recorded.",
                do="Install it (Debian and Ubuntu: sudo apt install libportaudio2; Fedora: "
                "sudo dnf install portaudio), or use a recording or the keyboard.",
            ) from error
        try:
            device = sounddevice.query_devices(kind="input")
            rate = round(device["default_samplerate"])
            channels = min(2, int(device["max_input_channels"]))
            intake = Intake(rate, channels)

            def take(data: Any, frames: int, clock: Any, status: Any) -> None:
                intake.give(bytes(data), bool(status.input_overflow))

            self._stream: Any = sounddevice.RawInputStream(
                rate, round(rate * BLOCK_S), channels=channels, dtype="int16", callback=take
            )
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            raise NoMicrophone(
                f"No microphone can be opened: {error}.",
                safe="Nothing was recorded.",
                do="Plug one in or choose one in the system's sound settings, or use a "
                "recording or the keyboard.",
            ) from error
        self._intake = intake

    @property
    def dropped_blocks(self) -> int:
        """Blocks lost because nobody fetched them in time, or lost by the device."""
        return self._intake.dropped_blocks

    def pause(self) -> None:
        """Hear nothing until ``resume``: the companion is about to speak."""
        self._intake.pause()

    def resume(self) -> None:
        """Hear again, a quarter of a second from now."""
        self._intake.resume()

    def read(self) -> Block | None:
        """The next 40 ms, waiting for it; None once closed.

        Raises:
            AudioError: the device has given nothing for two seconds.
        """
        return self._intake.read()

    def close(self) -> None:
        """Let go of the device."""
        self._intake.close()
        self._stream.close()
