"""Calls held by sound: every line of the technician is a clip, heard by the real recogniser.

    python -m tests.calls.spoken

holds every call so and prints a table. Clips are of a voice that the speech model was never
trained on. Each line was spoken twice; the second, slower take is played when the first was not
understood.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from companion.closed_loop import opened
from companion.datafiles import folder
from companion.hearing import SHIPPED, Recogniser, SpokenEars
from companion.hearing.source import RATE, Block
from companion.messages import (
    Answer,
    Message,
    NotUnderstood,
    Prompt,
    Reading,
    Understood,
    Utterance,
)
from companion.practice import Technician
from companion.turns import Dialogs, Turns, load_dialogs
from tests.calls.scripts import scripts, technician_for

HERE = Path(__file__).parent
BANK, INDEX = HERE / "spoken.ogg", HERE / "spoken.json"
MOST_TURNS = 200
PAUSE_S = 1.0
Sound = NDArray[np.float32]


@cache
def _bank() -> tuple[Sound, dict[str, list[list[int]]]]:
    sound, rate = soundfile.read(BANK, dtype="float32")
    assert rate == RATE
    return sound, json.loads(INDEX.read_text(encoding="utf-8"))


def clip(line: str, take: int = 0) -> Sound:
    """A line as it was spoken.

    Raises:
        KeyError: it is not in the bank; see ``make.py``.
    """
    sound, index = _bank()
    start, stop = index[line][take]
    return sound[start:stop]


class Played:
    """A source of one clip, with quiet behind it."""

    kind = "wav"

    def __init__(self, sound: Sound) -> None:
        quiet = np.zeros(round(PAUSE_S * RATE), np.float32)
        whole = np.concatenate([quiet[: RATE // 5], sound, quiet])
        rng = np.random.default_rng(len(sound))
        whole = whole + rng.normal(0.0, 6e-4, whole.shape)
        self._samples = np.clip(np.round(whole * 32767), -32768, 32767).astype(np.int16)
        self._at = 0

    def read(self) -> Block | None:
        block = self._samples[self._at : self._at + RATE // 25]
        start = self._at / RATE
        self._at += len(block)
        return Block(start, block) if len(block) else None

    def close(self) -> None:
        pass


@dataclass
class Heard:
    """How a spoken call went."""

    turns: int = 0
    tests: int = 0
    repairs: int = 0
    speech_s: float = 0.0
    misheard: list[tuple[str, str]] = field(default_factory=list)
    concluded: Any = None


def hold_by_sound(dialogs: Dialogs, technician: Technician, recogniser: Recogniser) -> Heard:
    """A call by sound. The technician listens as well, and takes back what he didn't say."""
    turns, done = Turns(dialogs, opened(dialogs)), Heard()
    right = dialogs.library.replies.is_that_right
    latest, take, line = turns.begin(), 0, ""
    while turns.concluded is None and done.turns < MOST_TURNS:
        done.turns += 1
        if turns.expectation().only:
            line, take = "back to work", 0
        elif turns.expectation().step == "hold":
            line, take = "resume", 0
        elif take == 0:
            line = _next_line(turns, technician, _asked(latest) == right)
        wanted = turns.understand(Utterance(text=line, source="typed"))
        sound = clip(line, min(take, 1))
        done.speech_s += len(sound) / RATE
        ears = SpokenEars(recogniser, Played(sound))
        heard = ears.listen(turns.phrases(), turns.settled) or Utterance(text="", source="wav")
        understood = turns.understand(heard)
        latest = turns.take(understood)
        if isinstance(understood, NotUnderstood):
            take, done.repairs = take + 1, done.repairs + 1
        elif same(understood, wanted):
            take = 0
        else:
            done.misheard.append((line, heard.text))
            done.repairs += 1
            back = "no" if _asked(latest) == right else "correction"
            latest = turns.take(turns.understand(Utterance(text=back, source="typed")))
            take = 1
    done.concluded, done.tests = turns.concluded, technician.tests
    return done


def _asked(latest: Sequence[Message]) -> str | None:
    """The last thing that was said, unworded."""
    return next((m.template for m in reversed(latest) if isinstance(m, Prompt)), None)


def _next_line(turns: Turns, technician: Technician, confirm: bool) -> str:
    walk = turns.walk
    place, standing = walk.standing.place, walk.standing
    return technician.reply(
        place.step, place.about or standing.terminal, walk.card, confirm, standing.part
    )


def same(one: Understood, other: Understood) -> bool:
    """Whether two things understood mean the same, however they were said."""
    if isinstance(one, Reading):
        return one.same_value(other) and one.at == getattr(other, "at", None)
    if isinstance(one, Answer):
        mine = (one.name, one.terminals)
        return isinstance(other, Answer) and mine == (other.name, other.terminals)
    return type(one) is type(other) and getattr(one, "name", "") == getattr(other, "name", "")


def main() -> None:
    """Hold every call by sound and print how each went."""
    dialogs, recogniser = load_dialogs(folder("dialogs")), Recogniser(folder("models") / SHIPPED)
    print(
        "| call | turns | tests | repairs | seconds of speech | ended |\n|---|---|---|---|---|---|"
    )
    for name, script in scripts().items():
        done = hold_by_sound(dialogs, technician_for(script, dialogs), recogniser)
        ended = done.concluded
        how = "did not end" if ended is None else f"{ended.outcome}: {ended.part or '-'}"
        row = (name, done.turns, done.tests, done.repairs, round(done.speech_s), how)
        print(f"| {' | '.join(map(str, row))} |")


if __name__ == "__main__":
    main()
