"""What every test comes out as, cell by cell, before anything was read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.case import Case
from companion.diagnosis.distinct import Distinct, Side, distinct, side_by_side
from companion.diagnosis.likelihood import Trust, outcome_table
from companion.diagnosis.predict import Predictor
from companion.diagnosis.predicted import OPEN, Predicted
from companion.diagnosis.trial import Test

Numbers = NDArray[Any]


@dataclass(frozen=True)
class Group:
    """Some tests: where each stands, and what is kept of it by cell, (H K, tests, ...)."""

    place: dict[str, int]
    cells: Side


@dataclass(frozen=True)
class Tables:
    """What tests come out as before anything was read, and what ohms rest on.

    Args:
        before: tests of as many outcomes each, with their chances, (outcomes,) in a cell.
        ohms: tests of ohms, with mean, load and moves, (3, boards) in a cell.
    """

    before: tuple[Group, ...]
    ohms: Group | None


# Kept for as long as the predictor that they were made from.
_TABLES: WeakKeyDictionary[Predictor, dict[Trust, Tables]] = WeakKeyDictionary()


def tables(case: Case) -> Tables:
    """Of all tests; made the first time, which solves every network."""
    made = _TABLES.setdefault(case.belief.predictor, {})
    trust = case.belief.trust
    if trust not in made:
        made[trust] = _made(case.belief.predictor, trust)
    return made[trust]


def _made(predictor: Predictor, trust: Trust) -> Tables:
    by_size: dict[int, dict[str, Distinct]] = {}
    ohms: dict[str, Distinct] = {}
    for name in predictor.tests:
        table = table_of(predictor, trust, name)
        size = table.shape[-1]
        by_size.setdefault(size, {})[name] = distinct(table.reshape(-1, size))
        predicted = predictor.of(name)
        if predicted.load is not None:
            ohms[name] = distinct(_by_cell(predicted))
    return Tables(tuple(_group(of) for of in by_size.values()), _group(ohms) if ohms else None)


def _group(tests: dict[str, Distinct]) -> Group:
    return Group({name: i for i, name in enumerate(tests)}, side_by_side(list(tests.values())))


def _by_cell(predicted: Predicted) -> Numbers:
    """Mean, load and moves of ohms, (H K, 3, boards)."""
    parts = [np.asarray(part) for part in (predicted.mean, predicted.load, predicted.moves)]
    return np.stack([part.reshape(len(part), -1).T for part in parts], axis=1)


def table_of(predictor: Predictor, trust: Trust, name: str) -> Numbers:
    """Chances (H, K, outcomes) of a test's outcomes before anything was read."""
    test = predictor.tests[name]
    found = outcome_table(test, predictor.of(name), trust)
    if found.ndim == 4:
        found = np.tensordot(predictor.shares(test.circuit), found, axes=1)
    if test.to_chassis:
        found = either_bond(trust, test, found, predictor.bonded)
    found[else_rows(predictor)] = 1.0 / found.shape[-1]
    return np.asarray(found.astype(np.float32))


def either_bond(trust: Trust, test: Test, as_common: Numbers, bonded: Numbers) -> Numbers:
    """Chances (..., outcomes) of a test to chassis, whether that is common or open."""
    apart = outcome_table(test, OPEN, trust)[0, 0]
    return np.asarray(bonded[..., None] * as_common + (1.0 - bonded[..., None]) * apart)


def else_rows(predictor: Predictor) -> list[int]:
    """Of hypotheses with no part at fault that is known."""
    return [i for i, h in enumerate(predictor.hypotheses) if not h.parts]
