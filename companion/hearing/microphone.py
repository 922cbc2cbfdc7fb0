"""The microphone as a source: any device, at its own rate, lost and found again."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, Literal

from companion.errors import NoMicrophone
from companion.hearing.intake import BLOCK_S, Intake
from companion.hearing.level import Level
from companion.hearing.source import Block

Event = Literal["lost", "found", "muted", "overrun"]

_RETRY_S = 0.5
_MUTED_S = 4.0


def _sounddevice() -> Any:
    try:
        import sounddevice
    except OSError as error:
        raise NoMicrophone(
            "The microphone can't be reached: PortAudio is not installed.",
            safe="Nothing was recorded.",
            do="Install it (Debian and Ubuntu: sudo apt install libportaudio2; Fedora: "
            "sudo dnf install portaudio), or use a recording or the keyboard.",
        ) from error
    return sounddevice


def input_names() -> list[str]:
    """Names of the devices that sound can be recorded from, the default first.

    Raises:
        NoMicrophone: no PortAudio.
    """
    sounddevice = _sounddevice()
    names = [str(d["name"]) for d in sounddevice.query_devices() if d["max_input_channels"] > 0]
    try:
        default = str(sounddevice.query_devices(kind="input")["name"])
    except (sounddevice.PortAudioError, ValueError):
        return names
    return list(dict.fromkeys([default, *names]))


def _quiet_listener(event: Event) -> None:
    pass


class Microphone:
    """A device to record from, at its own rate.

    Open it after the model is loaded, or its first seconds wait in the queue. A device
    that goes away is looked for until it is back; ``tell`` hears of it.

    Args:
        name: part of the device's name; None for the system's default.

    Raises:
        NoMicrophone: no PortAudio, or no device that can be opened; it says what to do.
    """

    kind: Literal["microphone"] = "microphone"

    def __init__(self, name: str | None = None) -> None:
        self.tell: Callable[[Event], None] = _quiet_listener
        self.before_search: Callable[[], None] = lambda: None
        """Called before devices are looked for anew, which would end any playback."""
        self._name = name
        self._dropped_before = self._dropped_told = 0
        self._muted_told = self._closed = False
        self._began_s = time.monotonic()
        self._open()

    def _open(self) -> None:
        sounddevice = _sounddevice()
        try:
            device = sounddevice.query_devices(self._name, kind="input")
            rate = round(device["default_samplerate"])
            channels = min(2, int(device["max_input_channels"]))
            intake = Intake(rate, channels, time.monotonic() - self._began_s)

            def take(data: Any, frames: int, clock: Any, status: Any) -> None:
                intake.give(bytes(data), bool(status.input_overflow))

            self._stream: Any = sounddevice.RawInputStream(
                rate, round(rate * BLOCK_S), device=device["index"], channels=channels,
                dtype="int16", callback=take,
            )  # fmt: skip
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            others = ", ".join(repr(name) for name in input_names()) or "none"
            raise NoMicrophone(
                f"No microphone can be opened: {error}. This computer shows: {others}.",
                safe="Nothing was recorded.",
                do="Plug one in or choose one in the system's sound settings or with "
                "--device, or use a recording or the keyboard.",
            ) from error
        self.rate = rate
        self.device = str(device["name"])
        self._intake = intake

    @property
    def dropped_blocks(self) -> int:
        """Blocks lost because nobody fetched them in time, or lost by the device."""
        return self._dropped_before + self._intake.dropped_blocks

    @property
    def level(self) -> Level:
        """How loud it is."""
        return self._intake.level

    def read(self) -> Block | None:
        """The next 40 ms, waiting for it, and for the device if it is gone; None once closed."""
        while True:
            try:
                block = self._intake.read()
            except TimeoutError:
                self._search()
                continue
            self._watch()
            return block

    def _watch(self) -> None:
        """Tell once of sound that was lost, and of a microphone that gives only zeros."""
        if self.dropped_blocks > self._dropped_told:
            self._dropped_told = self.dropped_blocks
            self.tell("overrun")
        if self._intake.zero_s < _MUTED_S:
            self._muted_told = False
        elif not self._muted_told:
            self._muted_told = True
            self.tell("muted")

    def _search(self) -> None:
        """Hold until the device gives sound again."""
        self.tell("lost")
        while not self._closed:
            self.before_search()
            self._reopened()
            try:
                if self._intake.read() is not None:
                    self.tell("found")
                    return
            except TimeoutError:
                continue

    def _reopened(self) -> None:
        """One more try, after making PortAudio look for devices anew."""
        sounddevice = _sounddevice()
        self._dropped_before += self._intake.dropped_blocks
        self._intake.dropped_blocks = 0
        while not self._closed:
            self._stream.close(ignore_errors=True)
            sounddevice._terminate()
            sounddevice._initialize()
            try:
                self._open()
            except NoMicrophone:
                time.sleep(_RETRY_S)
            else:
                return

    def close(self) -> None:
        """Let go of the device."""
        self._closed = True
        self._intake.close()
        self._stream.close(ignore_errors=True)
