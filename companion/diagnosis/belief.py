"""Belief over hypotheses, in the log domain; what moved it, and what does not fit.

A belief is the fold of its observations over the prior: take one away and fold again, and
the belief is as if it had never been heard.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.hypotheses import ELSE
from companion.diagnosis.likelihood import (
    Observation,
    Trust,
    heard_right,
    heard_wrong,
    together,
)
from companion.diagnosis.predict import Predictor
from companion.diagnosis.predicted import OPEN, Predicted
from companion.diagnosis.tolerance import (
    LoadState,
    apart,
    informed,
    learned,
    mixed,
    unknown,
    with_turns,
)
from companion.diagnosis.trial import Test

Numbers = NDArray[Any]


@dataclass(frozen=True)
class _Told:
    """What one test contributed: log-likelihood, what it was predicted to read, and for ohms
    what was known of the bond before; of its load too, as long as the test is the newest."""

    found: Numbers
    predicted: Predicted
    before: LoadState | None = None
    bonded: Numbers | None = None


@dataclass(frozen=True)
class Folded:
    """After some observations.

    Args:
        log_weight: (H, K), unnormalised.
        loads: what is known of the load of a terminal, and of those of one make by their word.
        boards: log-chance of each way of the board to take a call, by terminal, (boards, H, K).
        bonded: chance that common is bonded to the chassis, (H, K).
        told: by test, in the order they were folded on.
    """

    log_weight: Numbers
    loads: Mapping[str, LoadState]
    boards: Mapping[str, Numbers]
    bonded: Numbers
    told: dict[str, _Told]


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
        heard = [o for o in new.observations if o.test == observation.test]
        if len(heard) == 1 or self._newest == observation.test == self.observations[-1].test:
            # Folding on from here spares going through what was heard before again. What is read
            # anew after other tests belongs where it was read first: those are weighed by it.
            new.__dict__["folded"] = self._fold(self.folded, observation.test, heard)
        return new

    def without(self, index: int) -> Belief:
        """As if one observation had not been heard."""
        left = self.observations[:index] + self.observations[index + 1 :]
        return Belief(self.predictor, self.trust, left)

    def known_of(self, name: str) -> tuple[LoadState, Numbers]:
        """What is known of the load that a test of ohms is about, and log-chances of its board."""
        test, predicted = self.predictor.tests[name], self.predictor.of(name)
        return self._known(self.folded, test, predicted)

    def touched(self, name: str) -> bool:
        """Whether anything is known of a test's load or board that was not so at first."""
        test = self.predictor.tests[name]
        alike = self.predictor.alike(test.circuit)
        if test.to_chassis and any(self.predictor.tests[t].to_chassis for t in self.folded.told):
            return True
        return alike in self.folded.loads or (test.circuit or "") in self.folded.boards

    def _known(self, so_far: Folded, test: Test, predicted: Predicted) -> tuple[LoadState, Numbers]:
        assert predicted.mean is not None
        boards = so_far.boards.get(test.circuit or "")
        if boards is None:
            shares = np.log(self.predictor.shares(test.circuit))[:, None, None]
            boards = np.broadcast_to(shares, predicted.mean.shape)
        state = so_far.loads.get(test.circuit or "")
        if state is None:  # not read itself yet, but maybe others of its make
            others = so_far.loads.get(self.predictor.alike(test.circuit))
            if others is None:
                return unknown(predicted.mean.shape), boards
            rows, of_load = self.predictor.turned(test.circuit)
            state = apart(others)
            state = mixed(state, with_turns(state, of_load), rows)
        return state, boards

    def _fold(self, so_far: Folded, name: str, heard: Sequence[Observation]) -> Folded:
        """All that was heard of one test, upon what is known of its circuit's load and board."""
        test, predicted = self.predictor.tests[name], self.predictor.of(name)
        before = so_far.told.get(name)
        loads, boards, bonded = so_far.loads, so_far.boards, so_far.bonded
        if predicted.load is None:
            found = more = self._together(test, predicted, heard)
            if before is not None:  # said again: in place of what it told so far
                more = found - before.found
            newest = _Told(found, predicted)
        else:
            state, shares = self._known(so_far, test, predicted)
            if before is not None and before.before is not None:
                state = before.before
            learnt, found = learned(test, predicted, state, heard, self.trust)
            found[..., self._other, :] = _by_chance(test, heard)
            loads = {**loads, **self._learnt(so_far, test, learnt)}
            was = bonded if before is None or before.bonded is None else before.bonded
            if test.to_chassis:
                as_common, found = found, self._either_bond(test, found, heard, was)
            joint = shares + found - (0.0 if before is None else before.found)
            more = log_sum(joint)
            boards = {**boards, test.circuit or "": joint - more}
            if test.to_chassis:
                bonded = was * np.exp(log_sum(joint - more + as_common - found))
            newest = _Told(found, informed(predicted, *state.together), state, was)
        # What was known of a load is up to a megabyte; only if this is said again is it asked for.
        told = {of: replace(one, before=None) for of, one in so_far.told.items()}
        told[name] = newest
        return Folded(so_far.log_weight + more, loads, boards, bonded, told)

    def _learnt(self, so_far: Folded, test: Test, learnt: LoadState) -> dict[str, LoadState]:
        """What is known now of the load that was read, and of all of its make: there the shorted
        turns of one tell nothing."""
        alike, circuit = self.predictor.alike(test.circuit), test.circuit or ""
        if alike == circuit:
            return {alike: learnt}
        rows, _ = self.predictor.turned(circuit)
        of_others = so_far.loads.get(alike) or unknown(learnt.share.shape[1:])
        return {circuit: learnt, alike: mixed(learnt, of_others, rows)}

    @property
    def _newest(self) -> str:
        """The test that was folded on last."""
        return next(reversed(self.folded.told.keys()), "")

    def _either_bond(
        self, test: Test, as_common: Numbers, heard: Sequence[Observation], bonded: Numbers
    ) -> Numbers:
        """Log-likelihood of readings to chassis, whether that is common or open."""
        found = np.log(
            bonded * np.exp(as_common)
            + (1.0 - bonded) * np.exp(together(test, OPEN, heard, self.trust))
        )
        found[..., self._other, :] = _by_chance(test, heard)
        return np.asarray(found)

    def _together(self, test: Test, predicted: Predicted, heard: Sequence[Observation]) -> Numbers:
        found = together(test, predicted, heard, self.trust)
        found[..., self._other, :] = _by_chance(test, heard)
        return found

    @property
    def _other(self) -> list[int]:
        return [i for i, h in enumerate(self.predictor.hypotheses) if h.name == ELSE]

    @cached_property
    def folded(self) -> Folded:
        """Everything heard, folded over the prior."""
        columns = self.predictor.columns
        prior = np.log([h.weight / columns for h in self.predictor.hypotheses])
        folded = Folded(np.repeat(prior[:, None], columns, axis=1), {}, {},
                        np.repeat(self.predictor.bonded, columns, axis=1), {})  # fmt: skip
        for name in dict.fromkeys(o.test for o in self.observations):
            heard = [o for o in self.observations if o.test == name]
            folded = self._fold(folded, name, heard)
        return folded

    @property
    def log_weight(self) -> Numbers:
        """Unnormalised, natural logarithm, (H, K)."""
        return self.folded.log_weight

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
        return float((self.weight * self._wrong_share(index)).sum())

    def misheard(self, name: str) -> Numbers:
        """The same of the last reading of a test, cell by cell, (H, K).

        Raises:
            ValueError: the test was not heard of.
        """
        last = max((i for i, o in enumerate(self.observations) if o.test == name), default=None)
        if last is None:
            raise ValueError(f"{name} was not heard of")
        return self._wrong_share(last)

    def _wrong_share(self, index: int) -> Numbers:
        observation = self.observations[index]
        test = self.predictor.tests[observation.test]
        table = self.trust.table.wrong_way
        slips = {"breaker": table.trips, "lamp": table.lamp, "look": table.looks}
        rate = self.trust.rate(observation) + slips.get(test.measure, 0.0)
        log_wrong = np.log(rate * heard_wrong(test, observation.outcome))
        # Cell by cell, the share of its test's likelihood that comes of its being wrong.
        told = self.folded.told[observation.test]
        rest = [o for i, o in enumerate(self.observations)
                if o.test == observation.test and i != index]  # fmt: skip
        if rest:
            others = self._together(test, told.predicted, rest)
            if told.bonded is not None and test.to_chassis:
                others = self._either_bond(test, others, rest, told.bonded)
            log_wrong = log_wrong + others
        share = np.exp(np.minimum(0.0, log_wrong - told.found))
        if share.ndim == 3:
            share = (np.exp(self.folded.boards[test.circuit or ""]) * share).sum(axis=0)
        return np.asarray(share)


def _by_chance(test: Test, heard: Sequence[Observation]) -> float:
    return float(sum(np.log(heard_wrong(test, o.outcome)) for o in heard))


def log_sum(logs: Numbers) -> Numbers:
    """ln of the sum of exponentials over the first axis."""
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.exp(logs - top).sum(axis=0)))
