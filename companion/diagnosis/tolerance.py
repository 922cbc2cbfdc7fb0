"""What readings have told of a healthy load's own ohms, under each hypothesis and column.

A coil may be anywhere in its family's span, but it is the same coil in every reading. So
its place in that span is carried along as a Gaussian (a Kalman filter of one state per
circuit), and a second look at the same coil is not taken for new evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import isinf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.likelihood import (
    OFFSET,
    OPEN_OHM,
    Observation,
    Outcome,
    Trust,
    displayed,
    scale,
    sigma,
    ways,
)
from companion.diagnosis.nuisance import ALIKE_SPREAD
from companion.diagnosis.predicted import Predicted
from companion.diagnosis.trial import Test

Numbers = NDArray[Any]

ALTERNATIVES = 3  # kept of what is known of a load: which of its readings were heard right


@dataclass(frozen=True)
class LoadState:
    """Shift of a load in standard spreads of its span, and its variance.

    Alternatives, by which of the readings were heard right, each with its share; every array is
    (alternatives, boards, H, K). Taken together too early, a misheard reading would stay.
    """

    shift: Numbers
    variance: Numbers
    share: Numbers

    @cached_property
    def together(self) -> tuple[Numbers, Numbers]:
        """Shift and variance over all alternatives, (boards, H, K), by their moments."""
        shift = (self.share * self.shift).sum(axis=0)
        apart = self.variance + (self.shift - shift) ** 2
        return np.asarray(shift), np.asarray((self.share * apart).sum(axis=0))


def unknown(shape: tuple[int, ...]) -> LoadState:
    """Before anything is read: no shift, and the whole span."""
    one = np.ones((1, *shape))
    return LoadState(0.0 * one, one, one)


def apart(state: LoadState) -> LoadState:
    """What a load's own state tells of another of the same make."""
    return LoadState(state.shift, state.variance + ALIKE_SPREAD**2, state.share)


def with_turns(state: LoadState, of_load: float) -> LoadState:
    """What a load's own state tells of the same load with some of its turns shorted.

    Args:
        state: of the load.
        of_load: share of the load's own span in the standard spread of both.
    """
    rest = 1.0 - of_load**2
    return LoadState(of_load * state.shift, of_load**2 * state.variance + rest, state.share)


def mixed(state: LoadState, other: LoadState, rows: Numbers) -> LoadState:
    """A state with another's in some hypotheses.

    Args:
        state: in the rest.
        other: in ``rows``.
        rows: which hypotheses, (H,) of truth values.
    """
    count = max(len(state.share), len(other.share))

    def both(mine: Numbers, others: Numbers, blank: float) -> Numbers:
        mine, others = (
            np.concatenate([array, np.full((count - len(array), *array.shape[1:]), blank)])
            for array in (mine, others)
        )
        return np.asarray(np.where(rows[:, None], others, mine))

    return LoadState(both(state.shift, other.shift, 0.0),
                     both(state.variance, other.variance, 1.0),
                     both(state.share, other.share, 0.0))  # fmt: skip


def informed(predicted: Predicted, shift: Numbers, variance: Numbers) -> Predicted:
    """A prediction of ohms, with what is already known of the load."""
    if predicted.mean is None or predicted.load is None or predicted.moves is None:
        return predicted
    spread = np.hypot(predicted.moves, predicted.load * np.sqrt(variance))
    return replace(predicted, mean=predicted.mean * np.exp(predicted.load * shift), spread=spread)


def learned(
    test: Test, predicted: Predicted, state: LoadState, heard: Sequence[Observation], trust: Trust
) -> tuple[LoadState, Numbers]:
    """The state after all readings of one test, and their log-likelihood, (boards, H, K)."""
    found: list[tuple[Numbers, Numbers, Numbers]] = []
    for shift, variance, share in zip(state.shift, state.variance, state.share, strict=True):
        now = informed(predicted, shift, variance)
        unmoved = np.zeros_like(share)
        for likelihood, right in ways(test, now, heard, trust):
            if right is None or _tells_nothing(right):
                unmoved += share * likelihood
            else:
                moved = _moved(test, predicted, now, (shift, variance), right, trust)
                found.append((share * likelihood, *moved))
        found.append((unmoved, shift, variance))
    weight, shifts, variances = (np.stack(arrays) for arrays in zip(*found, strict=True))
    total = np.maximum(weight.sum(axis=0), 1e-300)
    if len(weight) > ALTERNATIVES:
        likeliest = np.argpartition(-weight, ALTERNATIVES - 1, axis=0)[:ALTERNATIVES]
        weight, shifts, variances = (
            np.take_along_axis(array, likeliest, axis=0) for array in (weight, shifts, variances)
        )
    sums = weight.sum(axis=0)
    share = np.where(sums > 0, weight / np.maximum(sums, 1e-300), 1.0 / len(weight))
    return LoadState(shifts, variances, share), np.asarray(np.log(total))


def _tells_nothing(outcome: Outcome) -> bool:
    return isinstance(outcome, str | tuple) or isinf(outcome) or outcome > OPEN_OHM


def _moved(
    test: Test, predicted: Predicted, now: Predicted, known: tuple[Numbers, Numbers],
    outcome: Outcome, trust: Trust,
) -> tuple[Numbers, Numbers]:  # fmt: skip
    """Shift and variance after a number that was heard right."""
    assert isinstance(outcome, float | int)
    assert now.mean is not None
    assert predicted.load is not None
    assert predicted.moves is not None
    assert predicted.error is not None
    shift, variance = known
    shown = displayed(now.mean, predicted.error, test.measure, trust)
    per_shift = predicted.load * shown / (shown + OFFSET[test.measure])
    per_shift = np.where(now.mean > OPEN_OHM, 0.0, per_shift)
    noise = sigma(shown, predicted.moves, test.measure, trust)
    gain = variance * per_shift / (noise**2 + per_shift**2 * variance)
    off = scale(outcome, test.measure) - scale(shown, test.measure)
    return shift + gain * off, variance * (1.0 - gain * per_shift)
