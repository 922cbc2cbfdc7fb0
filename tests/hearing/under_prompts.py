"""Answers that are begun before the prompt has ended, in a made room: what becomes of them?

    python -m tests.hearing.under_prompts [--echo 0 0.125 0.5] [--early 0.4 1.0] [--every 4]
                                          [--after call|opening|nothing]

Each answer of a recorded call over the prompt that asks for it, by the call's own phrase lists,
after the prompts before it, or as if the prompt were the first after the opening sound or after
nothing at all; an echo of 0 is a headset. ``right`` as said; ``asked`` again;
``silent``: no sign that anything was heard; ``WRONG`` taken as something else. With every answer
about ten minutes.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Literal, NamedTuple, get_args

import numpy as np
import soxr

from companion.datafiles import folder
from companion.hearing import Overlap, Recogniser, SpokenEars, WithoutEcho, find_model
from companion.messages import CallOpened, Prompt
from companion.speaking import SpokenVoice, to_ear
from companion.speaking.earcons import earcon
from companion.speaking.playback import load
from companion.turns import Turns, load_dialogs
from companion.understood import NotUnderstood, Utterance
from tests.calls.make import texts_of
from tests.devices.card import Sound
from tests.devices.talk import TOP, recorded

from .conftest import RATE
from .test_overlap import GAP, Room

After = Literal["call", "opening", "nothing"]


class Asked(NamedTuple):
    """A prompt, where the call stands, and what is said to it."""

    prompt: str
    turns: Turns
    words: str
    clip: Sound


class Prompted(NamedTuple):
    """A prompt as it is spoken, and what the companion sounded before it."""

    at: Asked
    before: Sound
    prompt: Sound


BEFORE_S = 8.0


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


def prompts(recogniser: Recogniser, every: int, after: After = "call") -> Iterator[Prompted]:
    """Every so many of the call's prompts."""
    nothing = np.zeros(0, np.float32)
    first = {"opening": np.concatenate([earcon("opening"), GAP]), "nothing": nothing}
    with tempfile.TemporaryDirectory() as name:
        voice = SpokenVoice(Path(name))
        before = nothing
        for number, at in enumerate(asked(recogniser)):
            wav = voice.say(at.prompt)
            assert wav is not None
            mono, rate = load(wav)
            prompt = np.asarray(soxr.resample(mono, rate, RATE), np.float32)
            if number % every == 0:
                yield Prompted(at, first.get(after, before), prompt)
            quiet = np.zeros(RATE, np.float32)
            before = np.concatenate([before, prompt, quiet])[-round(BEFORE_S * RATE) :]
        voice.close()


def heard_over(
    recogniser: Recogniser,
    over: Prompted,
    echo: float,
    said: Sound,
    at_s: float,
    after_s: float = 2.0,
) -> Iterator[Utterance]:
    """What is heard from a prompt on of what is said at a moment of the sound, over it or not."""
    before_s = len(over.before) / RATE
    whole = np.concatenate([over.before, over.prompt])
    room = Room(whole, over.at.prompt, echo, said, at_s, after_s, before_s=before_s)
    source = WithoutEcho(room, room)
    while room.read_s < before_s:
        source.read()
    ears = SpokenEars(recogniser, source, overlap=Overlap(room, source))
    turns = over.at.turns

    def means(text: str) -> bool:
        utterance = Utterance(text=text, source="microphone")
        return not isinstance(turns.understand(utterance), NotUnderstood)

    while (utterance := ears.listen(turns.phrases(), turns.settled, means)) is not None:
        yield utterance


def became(recogniser: Recogniser, over: Prompted, echo: float, early_s: float) -> tuple[str, str]:
    """What became of an answer, in one word; and what it was taken for."""
    at = over.at
    at_s = (len(over.before) + len(over.prompt)) / RATE - early_s
    heard = list(heard_over(recogniser, over, echo, at.clip, at_s))
    if not heard:
        return "silent", ""
    taken = [one.text for one in heard if not isinstance(at.turns.understand(one), NotUnderstood)]
    if any(text != at.words for text in taken):
        return "WRONG", ", ".join(taken)
    return "right" if taken else "asked", ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--echo", type=float, nargs="+", default=[0.0, 0.125, 0.5])
    parser.add_argument("--early", type=float, nargs="+", default=[0.4, 1.0])
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--after", choices=get_args(After), default="call")
    options = parser.parse_args()
    recogniser = Recogniser(find_model(None))
    counts = {(echo, early): Counter[str]() for echo in options.echo for early in options.early}
    for over in prompts(recogniser, options.every, options.after):
        for (echo, early_s), count in counts.items():
            what, taken = became(recogniser, over, echo, early_s)
            count[what] += 1
            if what == "WRONG":
                words = over.at.words
                print(f"echo {echo}, {early_s} s early: {words!r} taken for {taken!r}", flush=True)
    for (echo, early_s), count in counts.items():
        print(f"echo {echo}, begun {early_s} s before the end: {dict(count)}")


if __name__ == "__main__":
    main()
