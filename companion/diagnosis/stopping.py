"""When enough is known: by belief, and by what naming the wrong part would cost."""

from __future__ import annotations

from dataclasses import dataclass

from companion.diagnosis.case import Case
from companion.diagnosis.hypotheses import ELSE

SURE = 0.997  # never stop below this chance while a test that tells anything is left
CAUTION = 3.0  # factor on the cost of being wrong
NAMED = 0.9  # below this, with no test left, candidates are named and not a part


@dataclass(frozen=True)
class Verdict:
    """What would be named now. ``enough`` says that no test is worth its minutes any more."""

    part: str
    chance: float
    wrong_minutes: float
    enough: bool


def verdict(case: Case, next_test: str | None) -> Verdict:
    """Whether to go on testing.

    Stops when the part is sure enough and the minutes at risk by naming it, (1 - p) x cost
    of being wrong, are fewer than the next test takes (decision-theoretic troubleshooting,
    Heckerman, Breese and Rommelse 1995); or when no test is left that tells anything.

    Args:
        case: as it stands.
        next_test: what the chooser would do next; None when nothing is left.
    """
    part, chance = next(iter(case.belief.by_part().items()))
    at_risk = CAUTION * (1.0 - chance) * _wrong_minutes(case, part)
    if next_test is None:
        return Verdict(part, chance, at_risk, True)
    enough = part != ELSE and chance >= SURE and at_risk < case.minutes(next_test)
    return Verdict(part, chance, at_risk, enough)


def _wrong_minutes(case: Case, part: str) -> float:
    if part == ELSE:
        return 0.0
    for h in case.belief.predictor.hypotheses:
        if h.parts == {part}:
            return case.table.wrong[next(iter(h.part_kinds))]
    return max(case.table.wrong.values())
