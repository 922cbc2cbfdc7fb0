"""A technician made of recordings, on the phone with a companion that runs for real."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
import time
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
import soxr

from companion.speaking import SpokenVoice
from companion.speaking.earcons import RATE as EARCON_RATE
from companion.speaking.earcons import earcon
from tests.devices.card import RATE, Card, Sound, Wire, segments

TOP = Path(__file__).parents[2]
SPOKEN_OUT_S = 0.55
"""Silence after which the companion has said its say; between earcon and prompt is less."""


def recorded(path: Path) -> list[Sound]:
    """The utterances of a recorded call."""
    sound, rate = soundfile.read(path, dtype="float32")
    return segments(soxr.resample(sound, rate, RATE))


@cache
def spoken_by_engine(words: str) -> Sound:
    """The same words by eSpeak NG, which is also the companion's voice."""
    with tempfile.TemporaryDirectory() as folder:
        voice = SpokenVoice(Path(folder), rate=140)
        wav = voice.say(words)
        voice.close()
        assert wav is not None
        sound, rate = soundfile.read(wav, dtype="float32")
    mono: Sound = soxr.resample(sound, rate, RATE)
    loud = np.flatnonzero(np.abs(mono) > 0.003)
    return mono[: loud[-1]]


class Talk:
    """``companion call`` on a virtual card, with both wires tapped."""

    def __init__(self, card: Card, *arguments: str) -> None:
        self.card = card
        self.ear = Wire(card, "spk.monitor")
        self.lips = Wire(card, "lips.monitor")
        self.began_s = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "companion", "call", *arguments],
            env=card.environment | {"PYTHONPATH": str(TOP)}, cwd=TOP, text=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        self.lines: list[str] = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line.rstrip())

    @property
    def printed(self) -> str:
        return "\n".join(self.lines)

    def wait_for(self, words: str, limit_s: float = 15.0, since: int = 0) -> float:
        """Wait until this is printed; when it was seen."""
        until = time.monotonic() + limit_s
        while not any(words in line for line in self.lines[since:]):
            assert time.monotonic() < until, f"never printed {words!r}:\n{self.printed}"
            time.sleep(0.01)
        return time.monotonic()

    def first_sound(self, since_s: float, limit_s: float = 15.0) -> float:
        """When the companion first sounds after a moment."""
        until = time.monotonic() + limit_s
        while not (loud := self.ear.loud(since_s)):
            assert time.monotonic() < until, f"not a sound:\n{self.printed}"
            time.sleep(0.005)
        return loud[0]

    def first_word(self) -> float:
        """When the first prompt of the call begins to sound, after the opening."""
        opening_s = self.first_sound(self.began_s)
        return self.first_sound(opening_s + len(earcon("opening")) / EARCON_RATE + 0.05)

    def spoken_out(self, since_s: float, limit_s: float = 20.0) -> None:
        """Wait until the companion has said something and fallen silent."""
        self.first_sound(since_s, limit_s)
        self.hushed(since_s, limit_s)

    def hushed(self, since_s: float, limit_s: float = 20.0) -> None:
        """Wait until the companion is silent, whether or not it said something."""
        until = time.monotonic() + limit_s
        while self.ear.quiet_for(since_s) < SPOKEN_OUT_S:
            assert time.monotonic() < until, "it never falls silent"
            time.sleep(0.01)

    def say(self, sound: Sound) -> tuple[float, float]:
        """Speak; when the speech began and ended on the wire."""
        asked_s = time.monotonic()
        self.card.say(sound)
        time.sleep(len(sound) / RATE + 0.15)
        loud = self.lips.loud(asked_s)
        assert loud, "the technician's words never reached the wire"
        return loud[0], loud[-1]

    def end(self, limit_s: float = 20.0) -> int:
        """Wait until the command has ended; its exit status."""
        return self.process.wait(limit_s)

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        for wire in (self.ear, self.lips):
            wire.close()


def turn(talk: Talk, sound: Sound, since_s: float) -> tuple[float, float]:
    """Let the companion finish, answer; when the answer ended, and how long its reply took."""
    talk.spoken_out(since_s)
    _, ended_s = talk.say(sound)
    return ended_s, talk.first_sound(ended_s + 0.02) - ended_s
