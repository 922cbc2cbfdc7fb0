"""Eight hours of listening, as fast as the machine goes: does memory stay flat?

    python -m tests.hearing.all_day [--hours 8]

An utterance every twenty seconds through echo canceller, recogniser and voice; the
resident memory of this process and its speech engine is printed every half hour of sound.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from companion.hearing import Recogniser, SpokenEars, WithoutEcho, find_model
from companion.hearing.overlap import Overlap
from companion.hearing.source import RATE, Block
from companion.speaking import SpokenVoice
from tests.calls.make import TOP, texts_of
from tests.devices.card import Sound
from tests.devices.talk import recorded

EVERY_S = 20.0


def resident_mb() -> float:
    """Of this process and its children, from /proc."""
    own = Path("/proc/self/task")
    children = {c for task in own.iterdir() for c in (task / "children").read_text().split()}
    total = 0
    for process in ("self", *children):
        for line in Path(f"/proc/{process}/status").read_text().splitlines():
            if line.startswith("VmRSS"):
                total += int(line.split()[1])
    return total / 1024


class Day:
    """A day's sound, and a companion that is silent while it listens."""

    kind = "microphone"

    def __init__(self, hours: float) -> None:
        self._hours = hours
        self._clips = recorded(TOP / "tests/calls/frozen_valve.flac")
        self._rng = np.random.default_rng(1)
        self._noise = self._rng.normal(0, 20, RATE * 30).astype(np.int16)
        self.s = 0.0
        self._blocks = self._sound()

    def _sound(self) -> Iterator[Block]:
        for clip in itertools.cycle(self._clips):
            quiet = self._noise[: round(EVERY_S * RATE)]
            said: Sound = np.concatenate([quiet, (clip * 32767).astype(np.int16)])
            for at in range(0, len(said) - 639, 640):
                yield Block(self.s, said[at : at + 640], self.s)
                self.s += 0.04
            if self.s > self._hours * 3600:
                return

    def read(self) -> Block | None:
        return next(self._blocks, None)

    def close(self) -> None:
        pass

    def busy(self, since_s: float) -> bool:
        return False

    def cut(self) -> None:
        pass

    def words_between(self, start_s: float, end_s: float) -> frozenset[str]:
        return frozenset()

    def sound_between(self, start_s: float, samples: int) -> Sound:
        return np.zeros(samples, np.float32)


def tell(at_s: float, heard: int) -> None:
    print(f"{at_s / 3600:4.1f} h  {heard:5d} heard  {resident_mb():6.1f} MB", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    hours = parser.parse_args().hours
    day = Day(hours)
    source = WithoutEcho(day, day)  # type: ignore[arg-type]
    phrases = [text.rstrip(".").replace(",", "") for text in texts_of("frozen_valve")]
    began_s, heard, next_s = time.monotonic(), 0, 0.0
    with tempfile.TemporaryDirectory() as name:
        voice = SpokenVoice(Path(name))
        recogniser = Recogniser(find_model(None))
        ears = SpokenEars(recogniser, source, Path(name), Overlap(day, source))
        while (utterance := ears.listen(phrases)) is not None:
            heard += 1
            voice.say(f"I heard {utterance.text}.")
            if day.s >= next_s:
                tell(day.s, heard)
                next_s += 1800
        tell(day.s, heard)
        voice.close()
    print(f"in {time.monotonic() - began_s:.0f} s, {time.process_time():.0f} s of one processor")


if __name__ == "__main__":
    main()
