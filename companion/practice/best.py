"""The best sequence of tests that the reasoner knows for a house, every answer true and sure."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from companion.diagnosis.case import open_case
from companion.diagnosis.choosers import by_plan
from companion.diagnosis.stopping import verdict
from companion.diagnosis.tables import Complaint
from companion.practice.house import House

MOST_TESTS = 40


class Step(NamedTuple):
    """One test: its name, what it asks, what it shows, its minutes."""

    test: str
    say: str
    shown: float | str
    minutes: float


def best_sequence(house: House, allowed: Collection[str] | None = None) -> list[Step]:
    """Tests that the reasoner would ask for, in order, until it would name a part.

    Args:
        house: with what is hidden; its clock and its fuses are left alone.
        allowed: names of tests that may be done; all by default.
    """
    complaint: Complaint = house.complaint
    case = open_case(house.equipment, complaint)
    names = [name for name in house.tests if allowed is None or name in allowed]
    steps: list[Step] = []
    while len(steps) < MOST_TESTS:
        name = by_plan(case, [n for n in names if n not in case.asked])
        if name is None or verdict(case, name).enough:
            break
        shown = house.installed.flawless(house.hidden, house.tests[name])
        steps.append(Step(name, house.tests[name].say, shown, case.minutes(name)))
        case = case.heard(name, shown)
    return steps
