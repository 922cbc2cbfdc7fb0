"""Calls held by sound: every line of the technician is a clip, heard by the real recogniser.

    python -m tests.calls.spoken

holds every call so and prints a table. Clips are of a voice that the speech model was never
trained on. Each line was spoken twice; the second, slower take is played when a line is said
again. Words are trusted as in a call, by the model's own floors.
"""

from __future__ import annotations

import json
from functools import cache
from io import BytesIO
from pathlib import Path

import numpy as np
import soundfile

from companion.closed_loop.aloud import Heard
from companion.closed_loop.held import Outcome, run
from companion.datafiles import folder
from companion.hearing import SHIPPED, Recogniser
from companion.hearing.source import RATE, Samples
from companion.practice import Technician
from companion.turns import Dialogs, load_dialogs
from tests.calls.scripts import scripts, technician_for

HERE = Path(__file__).parent
BANK, INDEX = HERE / "spoken.ogg", HERE / "spoken.json"
BEFORE_S, AFTER_S = 0.2, 1.0
TAKES = 2


@cache
def bank() -> tuple[bytes, dict[str, list[list[int]]]]:
    """The clips, each a stream of its own so that none is encoded twice, and where each begins and
    ends, by line and take."""
    return BANK.read_bytes(), json.loads(INDEX.read_text(encoding="utf-8"))


def clip(line: str, take: int = 0) -> np.ndarray:
    """A line as it was spoken; a value taken back is a "no" and the value, digits
    ("one, two, ohms") their words one by one.

    Raises:
        KeyError: it is not in the bank; see ``make.py``.
    """
    clips, index = bank()
    if line not in index and line.startswith("no "):
        return np.concatenate([clip("no", take), clip(line.removeprefix("no "), take)])
    words = line.replace(",", "").split()
    if line not in index and index.keys() >= set(words):
        return np.concatenate([clip(word, take) for word in words])
    start, stop = index[line][min(take, TAKES - 1)]
    sound, rate = soundfile.read(BytesIO(clips[start:stop]), dtype="float32")
    assert rate == RATE
    return np.asarray(sound)


def says(line: str, take: int) -> Samples:
    """A line at ``RATE`` with a quiet room around it; from the second take on, the slower one."""
    said = clip(line, take)
    whole = np.pad(said, (round(BEFORE_S * RATE), round(AFTER_S * RATE)))
    whole = whole + np.random.default_rng(len(said)).normal(0.0, 6e-4, whole.shape)
    return np.clip(np.round(whole * 32767), -32768, 32767).astype(np.int16)


def hold_by_sound(
    dialogs: Dialogs, technician: Technician, recogniser: Recogniser
) -> tuple[Outcome, Heard]:
    """A call by sound; how it went, and what was heard."""
    heard = Heard(says, recogniser, technician)
    return run(dialogs, technician, heard=heard, floor=recogniser.floors), heard


def main() -> None:
    """Hold every call by sound and print how each went."""
    dialogs, recogniser = load_dialogs(folder("dialogs")), Recogniser(folder("models") / SHIPPED)
    heads = ("call", "turns", "tests", "turned away", "taken for another value",
             "seconds of speech", "ended")  # fmt: skip
    print(f"| {' | '.join(heads)} |\n{'|---' * len(heads)}|")
    for name, script in scripts().items():
        technician = technician_for(script, dialogs)
        done, heard = hold_by_sound(dialogs, technician, recogniser)
        ended = done.concluded
        how = "did not end" if ended is None else f"{ended.outcome}: {ended.part or '-'}"
        quiet_s = (BEFORE_S + AFTER_S) * heard.lines
        row = (name, len(done.lines), done.tests, heard.turned_away, heard.other_value,
               round(heard.speech_s - quiet_s), how)  # fmt: skip
        print(f"| {' | '.join(map(str, row))} |", flush=True)


if __name__ == "__main__":
    main()
