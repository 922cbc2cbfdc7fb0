"""Answers that are begun before the prompt has ended, in a made room: what becomes of them?

    python -m tests.hearing.under_prompts [--echo 0.125 0.5] [--early 0.4 1.0] [--every 4]

Each answer of a recorded call over the prompt that asks for it, by the call's own phrase lists.
``right`` as said; ``asked`` again; ``silent``: no sign that anything was heard; ``WRONG`` taken
as something else. With every answer a few minutes.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soxr

from companion.datafiles import folder
from companion.hearing import Overlap, Recogniser, SpokenEars, WithoutEcho, find_model
from companion.messages import CallOpened, Prompt
from companion.speaking import SpokenVoice, to_ear
from companion.speaking.playback import load
from companion.turns import Turns, load_dialogs
from companion.understood import NotUnderstood, Utterance
from tests.calls.make import texts_of
from tests.devices.card import Sound
from tests.devices.talk import TOP, recorded

from .conftest import RATE
from .test_overlap import Room


class Asked(NamedTuple):
    """A prompt, where the call stands, and what is said to it."""

    prompt: str
    turns: Turns
    words: str
    clip: Sound


def asked(recogniser: Recogniser) -> Iterator[Asked]:
    """The call, as if each answer were understood."""
    dialogs = load_dialogs(folder("dialogs"))
    turns = Turns(
        dialogs,
        CallOpened(
            call_id="under prompts", procedure=dialogs.library.procedure.id, profile=None,
            dialogs_digest=dialogs.library.digest, model="", source="microphone",
            floor=recogniser.floors, style="usual",
        ),
    )  # fmt: skip
    follows = turns.begin()
    clips = recorded(TOP / "tests/calls/frozen_valve.flac")
    for text, clip in zip(texts_of("frozen_valve"), clips, strict=True):
        words = text.rstrip(".").replace(",", "").lower()
        said = " ".join(to_ear(one) for one in follows if isinstance(one, Prompt))
        yield Asked(said, turns, words, clip)
        follows = turns.take(turns.understand(Utterance(text=words, source="typed")))


def became(
    recogniser: Recogniser, at: Asked, prompt: Sound, echo: float, early_s: float
) -> tuple[str, str]:
    """What became of an answer, in one word; and what it was taken for."""
    room = Room(prompt, at.prompt, echo, at.clip, len(prompt) / RATE - early_s)
    source = WithoutEcho(room, room)
    ears = SpokenEars(recogniser, source, overlap=Overlap(room, source))

    def means(text: str) -> bool:
        utterance = Utterance(text=text, source="microphone")
        return not isinstance(at.turns.understand(utterance), NotUnderstood)

    heard = []
    while (utterance := ears.listen(at.turns.phrases(), at.turns.settled, means)) is not None:
        heard.append(utterance)
    if not heard:
        return "silent", ""
    taken = [one.text for one in heard if not isinstance(at.turns.understand(one), NotUnderstood)]
    if any(text != at.words for text in taken):
        return "WRONG", ", ".join(taken)
    return "right" if taken else "asked", ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--echo", type=float, nargs="+", default=[0.125, 0.5])
    parser.add_argument("--early", type=float, nargs="+", default=[0.4, 1.0])
    parser.add_argument("--every", type=int, default=1)
    options = parser.parse_args()
    recogniser = Recogniser(find_model(None))
    counts = {(echo, early): Counter[str]() for echo in options.echo for early in options.early}
    with tempfile.TemporaryDirectory() as name:
        voice = SpokenVoice(Path(name))
        for number, at in enumerate(asked(recogniser)):
            if number % options.every:
                continue
            wav = voice.say(at.prompt)
            assert wav is not None
            mono, rate = load(wav)
            prompt = np.asarray(soxr.resample(mono, rate, RATE), np.float32)
            for (echo, early_s), count in counts.items():
                what, taken = became(recogniser, at, prompt, echo, early_s)
                count[what] += 1
                if what == "WRONG":
                    print(f"echo {echo}, {early_s} s early: {at.words!r} taken for {taken!r}")
        voice.close()
    for (echo, early_s), count in counts.items():
        print(f"echo {echo}, begun {early_s} s before the end: {dict(count)}")


if __name__ == "__main__":
    main()
