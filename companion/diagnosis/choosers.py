"""Choosing the next test: swappable, each a function of a case and the tests allowed now."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.case import Case
from companion.diagnosis.likelihood import Trust, outcome_table
from companion.diagnosis.predict import Predictor

Numbers = NDArray[Any]
TestChooser = Callable[[Case, Sequence[str]], str | None]

NEGLIGIBLE = 1e-5  # hypotheses below this chance do not steer the choice
LEAST_BITS = 3e-3  # a test that is expected to tell less is not worth asking
# Tried on simulated calls, as SURE and CAUTION of ``stopping`` were.
# Cheap tests that tell next to nothing beside what another would are not strung together.
WORTHWHILE_SHARE = 0.15
SURE_OF_CIRCUIT = 0.9  # from here the fixed sweep keeps to one circuit


# Outcome tables, kept for as long as the predictor that they were made from.
_TABLES: WeakKeyDictionary[Predictor, dict[tuple[str, Trust], Numbers]] = WeakKeyDictionary()


def table_of(case: Case, name: str) -> Numbers:
    """Chances (H, K, outcomes) of a test's outcomes under a case's hypotheses."""
    predictor, trust = case.belief.predictor, case.belief.trust
    made = _TABLES.setdefault(predictor, {})
    if (name, trust) not in made:
        found = outcome_table(predictor.tests[name], predictor.of(name), trust)
        found[_else_rows(predictor)] = 1.0 / found.shape[-1]
        made[name, trust] = found.astype(np.float32)
    return made[name, trust]


def _else_rows(predictor: Predictor) -> list[int]:
    return [i for i, h in enumerate(predictor.hypotheses) if not h.parts]


def entropy_bits(chances: Numbers, axis: int | None = None) -> Numbers:
    """Shannon entropy, -sum p log2 p."""
    safe = np.where(chances > 0, chances, 1.0)
    return np.asarray(-(chances * np.log2(safe)).sum(axis=axis))


def expected_gain(case: Case, names: Sequence[str]) -> Numbers:
    """Expected information gain of tests about the parts at fault, in bits, (tests,).

    Mutual information of outcome and the set of parts, H(o) + H(parts) - H(o, parts), both
    averaged over columns (Lindley 1956; used for diagnosis by de Kleer and Williams 1987).
    """
    belief = case.belief
    keep = np.flatnonzero(belief.chances > NEGLIGIBLE * belief.chances.max())
    rows = [belief.predictor.hypotheses[i] for i in keep]
    labels = {parts: i for i, parts in enumerate(dict.fromkeys(h.parts for h in rows))}
    member = np.zeros((len(labels), len(rows)), dtype=np.float32)
    for column, hypothesis in enumerate(rows):
        member[labels[hypothesis.parts], column] = 1.0
    weight = belief.weight[keep].astype(np.float32)
    weight /= weight.sum()
    parts = entropy_bits((member @ weight.sum(axis=1, keepdims=True))[:, 0])
    gains = []
    for name in names:
        table = table_of(case, name)[keep]
        joint = member @ np.matmul(weight[:, None, :], table)[:, 0, :]
        gains.append(entropy_bits(joint.sum(axis=0)) + parts - entropy_bits(joint))
    return np.array(gains)


def by_gain_per_cost(case: Case, allowed: Sequence[str]) -> str | None:
    """The test with the most expected bits per minute; None when none tells anything."""
    names = case.open(allowed)
    if not names:
        return None
    gain = expected_gain(case, names)
    rate = gain / np.array([case.minutes(name) for name in names])
    worth = gain >= max(LEAST_BITS, WORTHWHILE_SHARE * gain.max())
    best = int(np.argmax(np.where(worth, rate, -1.0)))
    return names[best] if gain[best] >= LEAST_BITS else None


def by_entropy(case: Case, allowed: Sequence[str]) -> str | None:
    """The test with the most expected bits, whatever it costs."""
    names = case.open(allowed)
    if not names:
        return None
    gain = expected_gain(case, names)
    best = int(np.argmax(gain))
    return names[best] if gain[best] >= LEAST_BITS else None


def by_fixed_order(case: Case, allowed: Sequence[str]) -> str | None:
    """The sweep that the trade teaches: in the battery's order, each once.

    Once one circuit is all but sure, tests about other circuits are passed over.
    """
    circuits = case.belief.by_circuit()
    suspect, chance = next(iter(circuits.items()), ("", 0.0))
    for name in case.open(allowed):
        about = case.belief.predictor.tests[name].circuit
        if name in case.asked:
            continue
        if chance >= SURE_OF_CIRCUIT and about is not None and about != suspect:
            continue
        return name
    return None
