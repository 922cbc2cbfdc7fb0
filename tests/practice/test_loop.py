"""The whole companion against a simulated technician: a small sample, and what is known to fail."""

from __future__ import annotations

import random

import pytest

from companion.closed_loop.many import Drawn, draw, hold
from companion.closed_loop.report import RIGHT, table
from companion.practice import STEADY, USUAL
from companion.practice.habits import other_number
from tests.calls import scripts
from tests.calls.scripts import replays

SAMPLE = 8
LEAST_RIGHT = 6  # of 8; 7 measured


@pytest.fixture(scope="module")
def results():
    furnace = [d for d in draw(14 * SAMPLE, 5) if d.equipment == "cooling-gas-furnace"]
    return [hold(drawn) for drawn in furnace[:SAMPLE]]


def test_no_interlock_is_breached(results):
    assert [r.breaches for r in results if r.breaches] == []


def test_most_calls_end_right(results):
    right = [r for r in results if r.ended in RIGHT]
    assert len(right) >= LEAST_RIGHT, [r.ended for r in results]


def test_misheard_values_are_taken_back(results):
    assert 0 < sum(r.taken_back for r in results) <= sum(r.slips for r in results)


def test_the_same_number_is_the_same_call(results):
    again = hold(results[0].drawn)
    assert again.lines == results[0].lines


def test_calls_are_drawn_over_all_equipment_complaints_and_means():
    drawn = draw(42, 1)
    assert len({(d.equipment, d.complaint, d.means) for d in drawn}) == 42
    assert draw(42, 1) == drawn
    assert draw(50, 1)[:42] == drawn


def test_the_table_has_every_measure(results):
    lines = table({"whole": results}).splitlines()
    assert len(lines) > 12
    assert "| interlock breaches | 0 |" in lines


def test_a_steady_technician_slips_in_nothing():
    steady = hold(Drawn(0, "cooling-gas-furnace", "opens", "meter", "Y: outdoor cable, short", 3),
                  "steady")  # fmt: skip
    assert (steady.slips, steady.ended) == (0, "success")
    assert STEADY.misheard == 0.0 < USUAL.misheard


def test_a_number_misheard_is_another_number():
    for value in (0.5, 13.0, 40.0, 226.0, 0.0):
        assert other_number(value, random.Random(1)) != value


@pytest.mark.parametrize("name", replays())
def test_each_class_of_failure(dialogs, name):
    """One replayable call of each: mended, or known to fail and why."""
    script = replays()[name]
    house, outcome = scripts.hold(script, dialogs)
    assert outcome.breaches == []
    ended = outcome.concluded
    right = ended is not None and ended.outcome == script.ends
    if script.ends == "repaired":
        right = right and house.mended and house.fuses_burnt == script.burns
        named = {script.part} if script.part else house.hidden.parts
        right = right and named == set(str(ended and ended.part).split(" and "))
    if script.fails:
        assert not right, "mended: take `fails` out"
        pytest.xfail(script.fails)
    assert right, (ended, outcome.lines[-5:])
