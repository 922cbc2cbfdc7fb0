"""A technician who is not understood does as the companion asks, and no call goes on for ever."""

from __future__ import annotations

import pytest

from companion.closed_loop.held import MOST_MISSED, Outcome, run
from companion.closed_loop.many import Drawn, technician_of
from companion.messages import Finding
from companion.practice import STEADY
from companion.speaking.numbers import digit_words
from companion.turns import Turns
from companion.understood import Utterance

SHORTED = Drawn(0, "cooling-gas-furnace", "opens", "meter", "Y: outdoor cable, short", 3)
OPEN = Drawn(0, "cooling-gas-furnace", "nothing", "meter", "Y: outdoor cable, open", 3)
DIGITS = frozenset(f"{digit_words(123456)} {digit_words(789000)}".split())


def deaf_to(dialogs, drawn: Drawn, *, step: str, spelled: bool) -> Outcome:
    """A call in which no number gets through at a step; spelled, or unless it is spelled."""

    def heard(line: str, turns: Turns) -> Utterance:
        words = set(line.split()) - {"point", "ohms", "volts", "amps", "K"}
        deaf = turns.walk.standing.place.step == step and turns.expectation().step == step
        through = (spelled and words <= DIGITS) or not (words & DIGITS or "twenty" in words)
        return Utterance(text=line if through or not deaf else "[unk]", source="typed")

    return run(dialogs, technician_of(drawn, STEADY), heard=heard)


def test_digits_are_said_when_they_are_asked_for(dialogs):
    outcome = deaf_to(dialogs, OPEN, step="supply", spelled=True)
    missed = [i for i, line in enumerate(outcome.lines) if line.startswith("twenty")]
    again = outcome.lines[missed[0] : missed[0] + 3]
    assert again[0] == again[1]  # asked again, he says it again
    assert set(again[2].split()) <= DIGITS | {"point", "volts"}
    assert outcome.concluded is not None
    assert outcome.concluded.outcome == "repaired"


def test_a_test_whose_number_never_gets_through_is_skipped(dialogs):
    outcome = deaf_to(dialogs, SHORTED, step="hunt", spelled=False)
    assert outcome.lines.count("skip") > 1
    assert any(isinstance(m, Finding) and m.verdict == "skipped" for m in outcome.messages)
    assert outcome.concluded is not None
    assert outcome.breaches == []


def test_a_number_that_can_not_be_skipped_closes_the_call(dialogs):
    outcome = deaf_to(dialogs, OPEN, step="supply", spelled=False)
    assert outcome.lines[-1] == "close the call"
    assert outcome.lines.count("resume") == 2  # and reads it again each time
    assert outcome.concluded is not None
    assert outcome.concluded.outcome == "not_found"


@pytest.mark.parametrize("what", ["[unk]", "", "yes"])
def test_a_call_in_which_nothing_gets_through_is_given_up(dialogs, what):
    def heard(line: str, turns: Turns) -> Utterance | None:
        return Utterance(text=what, source="typed") if what else None

    outcome = run(dialogs, technician_of(SHORTED, STEADY), heard=heard)
    assert outcome.concluded is None
    assert len(outcome.lines) == MOST_MISSED
