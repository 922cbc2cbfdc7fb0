"""Whole calls by sound, through the real recogniser; the rest are held by a command."""

from __future__ import annotations

import pytest

from companion.datafiles import folder
from companion.hearing import SHIPPED, Recogniser
from tests.calls.make import all_lines
from tests.calls.scripts import scripts, technician_for
from tests.calls.spoken import clip, hold_by_sound

HELD = ("picture nail", "resettable", "first week", "letters only")


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser(folder("models") / SHIPPED)


@pytest.mark.parametrize("name", HELD)
def test_a_call_by_sound_ends_at_what_is_hidden(dialogs, recogniser, name):
    script = scripts()[name]
    technician = technician_for(script, dialogs)
    done, heard = hold_by_sound(dialogs, technician, recogniser)
    assert done.concluded is not None, done.lines[-5:]
    assert (done.concluded.outcome, done.concluded.proved) == ("repaired", True)
    assert script.part in {None, done.concluded.part}
    assert technician.house.mended
    assert (heard.other_value, done.breaches) == (0, [])


def test_every_line_of_every_call_was_spoken_twice():
    """If not: python -m tests.calls.make"""
    for line in all_lines():
        for take in (0, 1):
            assert len(clip(line, take)) > 1000, line


@pytest.mark.parametrize("line", ["one, three, point, six, K", "one three point six K"])
def test_digits_are_made_of_their_words(line):
    assert len(clip(line)) == sum(len(clip(word)) for word in ("one", "three", "point", "six", "K"))
