"""The word "stop" over a prompt in a made room, and what is no "stop": what is taken for it?

    python -m tests.hearing.stops [--echo 0.125 0.3] [--every 5] [--at 0.8 1.3 1.8 2.3]
                                  [--after call|opening|nothing]

Prompts of a recorded call, by the call's own phrase lists, each after those before it, or as if
it were the first after the opening sound or after nothing at all. Over each, in a quiet room and in
noise: "stop" by several voices at several moments; and nothing, an answer, or a second talker,
of which none may be taken for "stop". With the defaults about twenty minutes.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from itertools import product
from typing import get_args

import numpy as np

from companion.hearing import Recogniser, find_model
from companion.hearing.overlap import STOP
from tests.calls.spoken import clip
from tests.devices.card import Sound
from tests.devices.talk import TOP, recorded, spoken_by_engine

from .benchmark import noise
from .conftest import RATE
from .under_prompts import After, Prompted, heard_over, prompts

NOISES = {"quiet": None, "fan": 10, "drill": 10, "second talker": 10}
"""Decibels that "stop" is above each."""
OTHERS = ("power off", "back to work", "it runs")
LEVEL = 0.09
"""Of a word, root mean square; a prompt's is about the same before the room takes from it."""


def voices() -> dict[str, Sound]:
    """The word by the companion's own engine, and as two would say it in a call."""
    found = {"engine": spoken_by_engine(STOP), "one": clip(STOP, 0), "another": clip(STOP, 1)}
    return {name: _alone(sound) for name, sound in found.items()}


def _alone(sound: Sound) -> Sound:
    loud = np.flatnonzero(np.abs(sound) > 0.01)
    word = sound[max(0, loud[0] - RATE // 20) : loud[-1] + RATE // 20]
    return np.asarray(word * (LEVEL / np.sqrt(np.mean(word**2))), np.float32)


def in_noise(kind: str, said: Sound, at_s: float, over_s: float) -> Sound:
    """What is said at a moment, and noise of one kind from the start to the end."""
    sound = np.zeros(round(over_s * RATE), np.float32)
    begin = round(at_s * RATE)
    sound[begin : begin + len(said)] += said[: len(sound) - begin]
    below = NOISES[kind]
    if below is None:
        return sound
    talk = np.concatenate(recorded(TOP / "tests/calls/frozen_valve.flac"))
    made = noise(kind, len(sound), np.random.default_rng(len(sound)), talk)
    return sound + (made * LEVEL * 10 ** (-below / 20)).astype(np.float32)


def stops(recogniser: Recogniser, over: Prompted, echo: float, sound: Sound) -> bool:
    """Whether "stop" was taken from sound over a prompt and what was before it."""
    heard = heard_over(recogniser, over, echo, sound, 0.0, 0.5)
    return any(STOP in utterance.text.split() for utterance in heard)


def words_over(over: Prompted, moments_s: list[float]) -> Iterator[tuple[str, float, Sound]]:
    """What is said over a prompt, when, and its sound; that it is "stop" its name tells."""
    long_s = len(over.prompt) / RATE
    for at_s in moments_s:
        if at_s + 0.4 < long_s:
            for name, sound in voices().items():
                yield f"{STOP}, {name}", at_s, sound
    yield "nothing", 0.3, np.zeros(0, np.float32)
    for words in OTHERS:
        yield words, min(1.0, 0.3 * long_s), _alone(clip(words))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--echo", type=float, nargs="+", default=[0.125, 0.3])
    parser.add_argument("--every", type=int, default=5)
    parser.add_argument("--at", type=float, nargs="+", default=[0.8, 1.3, 1.8, 2.3])
    parser.add_argument("--after", choices=get_args(After), default="call")
    options = parser.parse_args()
    recogniser = Recogniser(find_model(None))
    taken: dict[tuple[str, bool], list[bool]] = {}
    for over in prompts(recogniser, options.every, options.after):
        before_s, long_s = len(over.before) / RATE, len(over.prompt) / RATE
        for echo, kind in product(options.echo, NOISES):
            for name, at_s, said in words_over(over, options.at):
                over_s = before_s + max(long_s, at_s + len(said) / RATE) + 0.5
                sound = in_noise(kind, said, before_s + at_s, over_s)
                found, wanted = stops(recogniser, over, echo, sound), name.startswith(STOP)
                row = f"| {echo} | {kind} |"
                taken.setdefault((row, wanted), []).append(found)
                if found != wanted:
                    print(f"  {row} {name}, {at_s:.1f} s into {over.at.prompt!r}", flush=True)
    print('| echo | noise | "stop" heard | taken for "stop" |\n|---|---|---|---|')
    for row in dict.fromkeys(row for row, _ in taken):
        yes, no = taken[row, True], taken[row, False]
        print(f"{row} {sum(yes)} of {len(yes)} | {sum(no)} of {len(no)} |")


if __name__ == "__main__":
    main()
