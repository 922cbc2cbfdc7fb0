"""The exhaustive optimum for small cases, to hold choosers against.

Small means: noise-free outcomes, a handful of hypotheses, each test giving one outcome
under each. Then the best sequence of tests is found by dynamic programming over what
is left (test sequencing as in Garey 1972), with ways and making safe in the costs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from companion.diagnosis.belief import Belief
from companion.diagnosis.case import Case, Standing, after, minutes
from companion.diagnosis.choosers import TestChooser
from companion.diagnosis.hypotheses import Hypothesis
from companion.diagnosis.predict import Predictor
from companion.diagnosis.predicted import Predicted
from companion.diagnosis.tabled import table_of


class Tabled(Predictor):
    """Hypotheses and tests whose outcomes are given, one each; no network is solved."""

    def __init__(
        self, hypotheses: Sequence[Hypothesis], outcomes: dict[str, tuple[int, ...]],
        like: Predictor,
    ) -> None:  # fmt: skip
        self.hypotheses = tuple(hypotheses)
        self.outcomes = outcomes
        self.tests = {
            name: replace(
                like.tests[name], measure="look",
                words=tuple(f"outcome {i}" for i in range(max(given) + 1)),
            )
            for name, given in outcomes.items()
        }  # fmt: skip

    @property
    def columns(self) -> int:
        """One: nothing is unknown but which hypothesis holds."""
        return 1

    def of(self, name: str) -> Predicted:
        """Certainty of the given outcome."""
        given = np.array(self.outcomes[name])
        chances = np.eye(given.max() + 1)[given]
        return Predicted(words=chances[:, None, :])


def small_case(case: Case, rows: Sequence[int], names: Sequence[str]) -> Case:
    """Some hypotheses and tests of a case, each test with its likeliest outcome."""
    predictor, trust = case.belief.predictor, case.belief.trust
    chosen = [predictor.hypotheses[i] for i in rows]
    total = sum(h.weight for h in chosen)
    outcomes = {}
    for name in names:
        table = table_of(predictor, trust, name)
        outcomes[name] = tuple(int(o) for o in table[list(rows)].mean(axis=1).argmax(axis=-1))
    weighed = [replace(h, weight=h.weight / total) for h in chosen]
    tabled = Tabled(weighed, outcomes, predictor)
    certain = replace(trust, misheard=0.0)
    return replace(case, belief=Belief(tabled, certain))


@dataclass(frozen=True)
class Expected:
    """Expected effort and number of tests until no test tells more."""

    minutes: float
    tests: float


def optimum(case: Case) -> float:
    """Least expected minutes to tell apart every set of parts that tests can tell apart.

    Args:
        case: from ``small_case``; up to about a dozen hypotheses.

    Raises:
        TypeError: the case is not a small one.
    """
    predictor = case.belief.predictor
    if not isinstance(predictor, Tabled):
        raise TypeError("the optimum is worked out for small cases only")
    weight = [h.weight for h in predictor.hypotheses]
    parts = [h.parts for h in predictor.hypotheses]

    @cache
    def least(left: frozenset[int], standing: Standing) -> float:
        if len({parts[i] for i in left}) == 1:
            return 0.0
        mass = sum(weight[i] for i in left)
        best = np.inf
        for name, given in predictor.outcomes.items():
            split: dict[int, set[int]] = {}
            for i in left:
                split.setdefault(given[i], set()).add(i)
            if len(split) < 2:
                continue
            test = predictor.tests[name]
            spent = minutes(test, standing, case.table)
            there = after(test, standing)
            for some in split.values():
                if spent < best:
                    share = sum(weight[i] for i in some) / mass
                    spent += share * least(frozenset(some), there)
            best = min(best, spent)
        return 0.0 if np.isinf(best) else float(best)

    return least(frozenset(range(len(weight))), case.standing)


def expected(case: Case, choose: TestChooser) -> Expected:
    """What a chooser spends on a small case, averaged over its hypotheses exactly."""
    predictor = case.belief.predictor
    names = list(predictor.tests)
    open_parts = {h.parts for h, p in zip(predictor.hypotheses, case.belief.chances, strict=True)
                  if p > 1e-9}  # fmt: skip
    if len(open_parts) == 1:
        return Expected(0.0, 0.0)
    left = [n for n in names if n not in case.asked]
    name = choose(case, left)
    if name is None:  # giving up early is not for free: the cheapest test that tells more
        tells = [n for n in left if _splits(case, n)]
        if not tells:
            return Expected(0.0, 0.0)
        name = min(tells, key=case.minutes)
    spent, count = case.minutes(name), 1.0
    words = predictor.of(name).words
    assert words is not None
    for index, word in enumerate(predictor.tests[name].words):
        share = float(case.belief.chances @ words[:, 0, index])
        if share > 1e-9:
            more = expected(case.heard(name, word), choose)
            spent += share * more.minutes
            count += share * more.tests
    return Expected(spent, count)


def _splits(case: Case, name: str) -> bool:
    words = case.belief.predictor.of(name).words
    assert words is not None
    return bool(np.count_nonzero(case.belief.chances @ words[:, 0, :] > 1e-9) > 1)
