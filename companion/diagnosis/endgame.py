"""The last few suspects: what telling them apart costs to its end, by each next test.

Gain per cost looks at one test at a time, and walks twice where one way would have done. Once a
few hypotheses hold nearly all belief, every subset of them can be gone through, each test with
its sure outcomes and at its real costs from wherever the one before it left the technician
(test sequencing as in Garey 1972).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.case import Case, after, minutes

Numbers = NDArray[Any]

# Tried on simulated calls of other seeds than are reported, as SURE and CAUTION of ``stopping``.
SHARE = 0.95  # of belief in known faults that the few have to hold
MOST = 8  # hypotheses that are gone through
ALIKE = 0.1  # overlap of outcomes from which a test does not tell two hypotheses apart


@dataclass(frozen=True)
class Few:
    """The likeliest hypotheses: rows, chances, and a number for what would be repaired."""

    rows: tuple[int, ...]
    weight: Numbers
    parts: tuple[int, ...]


def few(case: Case) -> Few | None:
    """The few that hold nearly all belief; None while there are more, or one part is left."""
    hypotheses, chances = case.belief.predictor.hypotheses, case.belief.chances
    known = np.array([bool(h.parts) for h in hypotheses]) * chances
    order = np.argsort(-known, kind="stable")[: MOST + 1]
    held = np.cumsum(known[order]) / max(float(known.sum()), 1e-300)
    count = int(np.searchsorted(held, SHARE)) + 1
    rows = tuple(int(row) for row in order[:count])
    labels: dict[frozenset[str], int] = {}
    parts = tuple(labels.setdefault(hypotheses[row].parts, len(labels)) for row in rows)
    if count > MOST or len(labels) < 2 or not known[list(rows)].all():
        return None
    return Few(rows, known[list(rows)], parts)


def minutes_to_the_end(
    case: Case, names: Sequence[str], left: Few, outcomes: Numbers
) -> dict[str, float]:
    """Expected minutes until the few are told apart, by the test that is done first.

    Only tests that tell some of them apart are listed; what no test tells apart costs nothing.

    Args:
        case: as it stands.
        names: tests that may be asked.
        left: the few.
        outcomes: chances under each of the few, (few, tests, outcomes).
    """
    groups = _kept_together(outcomes)
    tells = np.flatnonzero(groups[:, 0] != (1 << len(left.rows)) - 1)
    if not len(tells):
        return {}
    telling = [names[t] for t in tells.tolist()]
    tests = [case.belief.predictor.tests[name] for name in telling]
    standings = [case.standing]
    for standing in standings:  # grows as new ones are reached
        reached = dict.fromkeys(after(test, standing) for test in tests)
        standings += [s for s in reached if s not in standings]
    cost = np.array([[minutes(t, s, case.table) for t in tests] for s in standings])
    cost[0] = [case.minutes(name) for name in telling]  # which knows what was read just now
    then = np.array([[standings.index(after(t, s)) for t in tests] for s in standings])
    spent = _plan(left, _each_once(groups[tells]), cost, then) / left.weight.sum()
    return dict(zip(telling, spent.tolist(), strict=True))


def _kept_together(outcomes: Numbers) -> Numbers:
    """Of each test, which hypotheses each stays together with, as bits, (tests, few)."""
    count = len(outcomes)
    overlap = np.minimum(outcomes[:, None], outcomes[None]).sum(axis=-1)
    linked = np.moveaxis(overlap > ALIKE, -1, 0) | np.eye(count, dtype=bool)
    for _ in range((count - 1).bit_length()):
        linked = linked @ linked
    return np.asarray(linked @ (1 << np.arange(count)))


def _each_once(groups: Numbers) -> Numbers:
    """Each group once, the rest of the places empty."""
    first = (groups & -groups) == (1 << np.arange(groups.shape[1]))
    once = -np.sort(-np.where(first, groups, 0), axis=1)
    return np.asarray(once[:, : int(first.sum(axis=1).max())])


def _plan(left: Few, groups: Numbers, cost: Numbers, then: Numbers) -> Numbers:
    """Least expected minutes x chance from the first standing on, by the first test.

    Goes through subsets by their size, each for all standings and tests at a time.
    """
    count = len(left.rows)
    sets = np.arange(1 << count)
    member = (sets[:, None] >> np.arange(count)) & 1
    size, mass = member.sum(axis=1), member @ left.weight
    of_part = [sum(1 << i for i, p in enumerate(left.parts) if p == part) for part in left.parts]
    open_still = ((sets[:, None] & ~np.array(of_part)) != 0).all(axis=1)
    least = np.zeros((len(cost), len(sets)))
    tests = np.arange(cost.shape[1])
    spent = np.zeros((1, 1, len(tests)))
    for level in range(2, count + 1):
        some = np.flatnonzero((size == level) & open_still)
        split = some[:, None, None] & groups
        later = least[:, split].sum(axis=-1)[then[:, None], np.arange(len(some))[:, None], tests]
        spent = np.where((split != some[:, None, None]).all(axis=-1),
                         mass[some][:, None] * cost[:, None] + later, np.inf)  # fmt: skip
        best = spent.min(axis=-1)
        least[:, some] = np.where(np.isinf(best), 0.0, best)
    return np.asarray(spent[0, 0])
