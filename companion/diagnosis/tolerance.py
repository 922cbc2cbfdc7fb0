"""What readings have told of a healthy load's own ohms, under each hypothesis and column.

A coil may be anywhere in its family's span, but it is the same coil in every reading. So
its place in that span is carried along as a Gaussian (a Kalman filter of one state per
circuit), and a second look at the same coil is not taken for new evidence.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isinf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.likelihood import (
    OFFSET,
    OPEN_OHM,
    Outcome,
    Trust,
    displayed,
    heard_right,
    heard_wrong,
    scale,
    sigma,
)
from companion.diagnosis.nuisance import ALIKE_SPREAD
from companion.diagnosis.predict import Predicted
from companion.diagnosis.trial import Test

Numbers = NDArray[Any]


@dataclass(frozen=True)
class LoadState:
    """Shift of a load in standard spreads of its span, and its variance, each (boards, H, K)."""

    shift: Numbers
    variance: Numbers


def unknown(shape: tuple[int, ...]) -> LoadState:
    """Before anything is read: no shift, and the whole span."""
    return LoadState(np.zeros(shape), np.ones(shape))


def apart(state: LoadState) -> LoadState:
    """What a load's own state tells of another of the same make."""
    return LoadState(state.shift, state.variance + ALIKE_SPREAD**2)


def informed(predicted: Predicted, state: LoadState) -> Predicted:
    """A prediction of ohms, with what is already known of the load."""
    if predicted.mean is None or predicted.load is None or predicted.moves is None:
        return predicted
    spread = np.hypot(predicted.moves, predicted.load * np.sqrt(state.variance))
    return replace(predicted, mean=predicted.mean * np.exp(predicted.load * state.shift),
                   spread=spread)  # fmt: skip


def learned(
    test: Test, predicted: Predicted, state: LoadState, outcome: Outcome, trust: Trust
) -> LoadState:
    """The state after a reading, as far as each cell believes that it was heard right."""
    if isinstance(outcome, str | tuple) or isinf(outcome) or outcome > OPEN_OHM:
        return state
    if predicted.mean is None or predicted.load is None or predicted.moves is None:
        return state
    now = informed(predicted, state)
    assert now.mean is not None
    assert predicted.error is not None
    right = (1.0 - trust.misheard) * heard_right(test, now, outcome, trust)
    wrong = trust.misheard * heard_wrong(test, outcome)
    share = np.where(now.mean > OPEN_OHM, 0.0, right / (right + wrong + 1e-300))
    shown = displayed(now.mean, predicted.error, test.measure, trust)
    per_shift = predicted.load * shown / (shown + OFFSET[test.measure])
    noise = sigma(shown, predicted.moves, test.measure, trust)
    total = noise**2 + per_shift**2 * state.variance
    gain = share * state.variance * per_shift / total
    off = scale(outcome, test.measure) - scale(shown, test.measure)
    return LoadState(state.shift + gain * off, state.variance * (1.0 - gain * per_shift))
