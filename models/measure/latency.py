"""How long after the end of speech the ears hand words over, as in a call."""

from __future__ import annotations

import statistics
from collections.abc import Callable
from typing import Literal

import numpy as np

from companion.hearing.recogniser import Recogniser
from companion.hearing.source import Block
from companion.hearing.spoken import SpokenEars
from companion.understanding import Interpreter
from models.measure.clips import RATE, Clip, Samples
from models.measure.lists import Step

_BLOCK = RATE // 50
_QUIET_S = 2.5
_MOST_CLIPS = 25


class Tape:
    """A recording with quiet after it, in blocks of 20 ms, as a microphone would go on."""

    kind: Literal["microphone", "wav"] = "wav"

    def __init__(self, samples: Samples) -> None:
        quiet = np.random.default_rng(2).normal(0, 8, round(_QUIET_S * RATE)).round()
        self._samples = np.concatenate([samples, quiet.astype(np.int16)])
        self.at = 0

    def read(self) -> Block | None:
        """The next block."""
        if self.at >= len(self._samples):
            return None
        start, self.at = self.at, self.at + _BLOCK
        return Block(start / RATE, self._samples[start : self.at])

    def close(self) -> None:
        """Nothing to let go of."""


def delays_s(
    recogniser: Recogniser, recordings: list[Clip], step: Step, early: bool
) -> list[float]:
    """Seconds from the end of speech to the words, of the recordings that the step can take and
    that were heard right; `early` ends where nothing can follow, which can be before the last
    sound has died away."""
    expected = step.expected
    assert expected is not None
    interpreter = Interpreter(step.vocabulary)
    settled: Callable[[str], bool] = (
        (lambda text: interpreter.settled(text, expected)) if early else (lambda text: False)
    )
    found: list[float] = []
    chosen = [c for c in recordings if c.kind != "oov" and step.can_take(c.words)]
    for clip in chosen[:: max(1, len(chosen) // _MOST_CLIPS)]:
        tape = Tape(clip.samples)
        heard = SpokenEars(recogniser, tape).listen(step.phrases, settled)
        if heard is not None and step.same(clip.text, heard.text):
            found.append(tape.at / RATE - clip.speech_end_s)
    return found


def rows(
    recogniser: Recogniser, recordings: list[Clip], step: Step, name: str
) -> list[tuple[str, str]]:
    """Median and slowest twentieth, with and without ending early."""
    table: list[tuple[str, str]] = []
    for early, label in ((False, "silence only"), (True, "as in a call")):
        delays = sorted(delays_s(recogniser, recordings, step, early))
        if delays:
            late = delays[int(0.95 * (len(delays) - 1))]
            text = f"{statistics.median(delays):.2f} s, 95 % within {late:.2f} s"
            table.append((f"{name}, end of speech to words, {label}", text))
    return table
