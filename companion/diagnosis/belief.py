"""Belief over hypotheses, in the log domain; what moved it, and what does not fit.

A belief is the fold of its observations over the prior: take one away and fold again, and
the belief is as if it had never been heard.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.hypotheses import ELSE
from companion.diagnosis.likelihood import Outcome, Trust, heard_right, heard_wrong, together
from companion.diagnosis.predict import Predictor
from companion.diagnosis.tolerance import LoadState, informed, learned, unknown

Numbers = NDArray[Any]
_Folded = tuple[Numbers, dict[str, LoadState]]


@dataclass(frozen=True)
class Observation:
    """What a test came out as: a number in SI, ``likelihood.OL``, a word, or a span."""

    test: str
    outcome: Outcome


@dataclass(frozen=True)
class Belief:
    """Weights over hypotheses and columns after some observations.

    Args:
        predictor: hypotheses and what tests read under them.
        trust: meter, table and misheard rate.
        observations: in the order they were heard.
    """

    predictor: Predictor
    trust: Trust
    observations: tuple[Observation, ...] = ()

    def after(self, observation: Observation) -> Belief:
        """With one more observation.

        Raises:
            KeyError: no such test.
            ValueError: the test has no such outcome.
        """
        heard_right(
            self.predictor.tests[observation.test],
            self.predictor.of(observation.test),
            observation.outcome,
            self.trust,
        )
        new = Belief(self.predictor, self.trust, (*self.observations, observation))
        if not any(o.test == observation.test for o in self.observations):
            # Folding on from here spares going through what was heard before again.
            new.__dict__["_folded"] = self._fold(self._folded, observation.test,
                                                 [observation.outcome])  # fmt: skip
        return new

    def without(self, index: int) -> Belief:
        """As if one observation had not been heard."""
        left = self.observations[:index] + self.observations[index + 1 :]
        return Belief(self.predictor, self.trust, left)

    def _fold(self, so_far: _Folded, name: str, outcomes: Sequence[Outcome]) -> _Folded:
        """All that was heard of one test, upon what is known of its circuit's load."""
        log_weight, loads = so_far
        test, predicted = self.predictor.tests[name], self.predictor.of(name)
        state = loads.get(test.circuit or "") or unknown(log_weight.shape)
        if predicted.load is not None:
            now = informed(predicted, state)
            state = learned(test, predicted, state, outcomes[-1], self.trust)
            loads = {**loads, test.circuit or "": state}
            predicted = now
        found = together(test, predicted, outcomes, self.trust)
        other = [i for i, h in enumerate(self.predictor.hypotheses) if h.name == ELSE]
        found[other] = sum(np.log(heard_wrong(test, outcome)) for outcome in outcomes)
        return log_weight + found, loads

    @cached_property
    def _folded(self) -> _Folded:
        columns = self.predictor.columns
        prior = np.log([h.weight / columns for h in self.predictor.hypotheses])
        folded: _Folded = (np.repeat(prior[:, None], columns, axis=1), {})
        for name in dict.fromkeys(o.test for o in self.observations):
            heard = [o.outcome for o in self.observations if o.test == name]
            folded = self._fold(folded, name, heard)
        return folded

    @property
    def log_weight(self) -> Numbers:
        """Unnormalised, natural logarithm, (H, K)."""
        return self._folded[0]

    @cached_property
    def weight(self) -> Numbers:
        """Normalised, (H, K)."""
        shifted = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(shifted / shifted.sum())

    @property
    def evidence(self) -> float:
        """Log-probability of everything heard."""
        top = float(self.log_weight.max())
        return top + float(np.log(np.exp(self.log_weight - top).sum()))

    @cached_property
    def chances(self) -> Numbers:
        """Of each hypothesis, (H,)."""
        return np.asarray(self.weight.sum(axis=1))

    def by_part(self) -> dict[str, float]:
        """Chance that each part is at fault, likeliest first; pairs count for both."""
        return self._marginal([h.parts or {ELSE} for h in self.predictor.hypotheses])

    def by_circuit(self) -> dict[str, float]:
        """Chance that each terminal's circuit is concerned, likeliest first."""
        return self._marginal([h.circuits for h in self.predictor.hypotheses])

    def _marginal(self, names: Sequence[frozenset[str] | set[str]]) -> dict[str, float]:
        total: dict[str, float] = {}
        for of_hypothesis, chance in zip(names, self.chances, strict=True):
            for name in of_hypothesis:
                total[name] = total.get(name, 0.0) + float(chance)
        return dict(sorted(total.items(), key=lambda item: (-item[1], item[0])))

    def ranked(self) -> Iterator[tuple[str, float]]:
        """Hypotheses by chance, likeliest first."""
        for index in np.argsort(-self.chances, kind="stable"):
            yield self.predictor.hypotheses[index].name, float(self.chances[index])

    def wrong(self, index: int) -> float:
        """Chance that an observation was misheard, or was wrong though heard right.

        Given all the others and itself. Probes slip and lamps mislead as well as words do.
        """
        observation = self.observations[index]
        test = self.predictor.tests[observation.test]
        table = self.trust.table.wrong_way
        slips = {"breaker": table.trips, "lamp": table.lamp, "look": table.looks}
        rate = self.trust.misheard + slips.get(test.measure, 0.0)
        log_wrong = np.log(rate * heard_wrong(test, observation.outcome))
        others = self.without(index)
        return float(np.exp(min(0.0, log_wrong + others.evidence - self.evidence)))


@dataclass(frozen=True)
class Explanation:
    """Why a belief is what it is.

    Args:
        part: likeliest to be at fault; ``chance`` that it is.
        circuit: likeliest terminal concerned, if any.
        moved: for each observation, natural-log odds that it put on the part, largest first.
        odd: observations likelier wrong than right, by index.
        words: the same, to be said.
    """

    part: str
    chance: float
    circuit: str | None
    moved: tuple[tuple[int, float], ...]
    odd: tuple[int, ...]
    words: str


def explain(belief: Belief) -> Explanation:
    """What the belief is, which readings moved it, and which contradicts it."""
    parts = belief.by_part()
    part, chance = next(iter(parts.items()))
    circuits = belief.by_circuit()
    circuit = next(iter(circuits), None)
    moved = [
        (index, _odds(parts, part) - _odds(belief.without(index).by_part(), part))
        for index in range(len(belief.observations))
    ]
    moved.sort(key=lambda item: -abs(item[1]))
    odd = tuple(i for i in range(len(belief.observations)) if belief.wrong(i) > 0.5)
    return Explanation(part, chance, circuit, tuple(moved), odd,
                       _words(belief, part, chance, moved, odd))  # fmt: skip


def _odds(parts: Mapping[str, float], part: str) -> float:
    chance = min(max(parts.get(part, 0.0), 1e-12), 1.0 - 1e-12)
    return float(np.log(chance / (1.0 - chance)))


def _words(
    belief: Belief,
    part: str,
    chance: float,
    moved: Sequence[tuple[int, float]],
    odd: Sequence[int],
) -> str:
    heard = belief.observations
    fixed = {
        ELSE: "None of the faults I know fits.",
        "none now": f"{_surely(chance)} nothing is wrong now: it may come and go.",
    }
    said = fixed.get(part, f"{_surely(chance)} the {part}.")
    if moved and abs(moved[0][1]) > 1.0:
        said += f" What counted most: {heard[moved[0][0]].test}."
    if odd:
        which = [_when(index, len(heard)) for index in odd]
        single = any(len(h.parts) == 1 and h.kinds & {"short", "chassis"}
                     for h in belief.predictor.hypotheses)  # fmt: skip
        what = "any single short" if single else "any single fault"
        said += f" That doesn't fit {what}: {' and '.join(which)} is the odd one."
    return said


def _surely(chance: float) -> str:
    for least, word in ((0.99, "Almost surely"), (0.9, "Very likely"), (0.6, "Likely")):
        if chance >= least:
            return word
    return "Perhaps"


def _when(index: int, count: int) -> str:
    back = count - 1 - index
    names = ("the last reading", "the reading before last")
    return names[back] if back < len(names) else f"the reading {back} back"
