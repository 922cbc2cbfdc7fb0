"""Likelihood of what was observed, under every hypothesis and column.

Numbers are compared on a logarithmic scale, ln(value + offset), where a meter's counts and
a coil's tolerance are both of one size. Densities are per unit of that scale.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from math import inf, isinf, log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit.shapes import Meter, Range
from companion.diagnosis.predicted import Predicted
from companion.diagnosis.tables import Likelihoods
from companion.diagnosis.trial import Measure, Test
from companion.diagnosis.trust import normal_cdf, rough_cdf

Numbers = NDArray[Any]

OL = inf
# A number in SI or ``OL``; a word; or (least, most) where only a verdict is known.
Outcome = float | str | tuple[float, float]
OPEN_OHM = 2e6  # judgement: above this a control circuit is open, whatever the meter shows
OFFSET: dict[Measure, float] = {"ohms": 0.5, "volts": 1.0, "amperes": 0.1}
MOST: dict[Measure, float] = {"ohms": OPEN_OHM, "volts": 30.0, "amperes": 20.0}
MISHEARD_OL = 0.15  # judgement: share of misheard ohms that come out as OL
EDGES: dict[Measure, tuple[float, ...]] = {
    "ohms": (0.25, 0.45, 0.7, 1.0, 1.4, 1.9, 2.6, 4.0, 6.5, 9.0, 13.0, 20.0, 40.0, 90.0, 250.0,
             1000.0, 5000.0),
    "volts": (0.5, 1.5, 4.0, 8.0, 12.0, 16.0, 19.0, 20.5, 22.0, 23.5, 25.0, 26.5),
    "amperes": (0.05, 0.15, 0.3, 0.5, 0.8, 1.2, 1.7, 2.3, 3.0, 4.0),
}  # fmt: skip


@dataclass(frozen=True)
class Observation:
    """What a test came out as: a number in SI, ``OL``, a word, or a span.

    ``confirmed``: it was read back and said to be right, or said twice alike.
    """

    test: str
    outcome: Outcome
    confirmed: bool = False


@dataclass(frozen=True)
class Trust:
    """Everything that a likelihood rests on beside the prediction."""

    meter: Meter
    table: Likelihoods
    misheard: float

    def rate(self, observation: Observation) -> float:
        """Share of such observations that are not what was said; fewer once it was confirmed."""
        return self.misheard * (self.table.misheard.stands if observation.confirmed else 1.0)

    def range_of(self, measure: Measure) -> Range:
        """The meter function that a measure is read on."""
        return {"ohms": self.meter.ohms, "volts": self.meter.volts}.get(measure, self.meter.amperes)


def scale(value: Numbers | float, measure: Measure) -> Numbers:
    """ln(value + offset)."""
    return np.asarray(np.log(np.asarray(value) + OFFSET[measure]))


# What of the meter's limit is left to each reading beside the error that stays the same:
# what varies, and what lies between columns (judgement, on the safe side).
METER_LEFT = 0.5


def displayed(mean: Numbers, error: Numbers, measure: Measure, trust: Trust) -> Numbers:
    """What a meter with its own error, as a share of its limit, shows for a value."""
    span = trust.range_of(measure)
    limit = span.relative * mean + span.counts * span.resolution
    return np.asarray(np.maximum(mean + error * limit, 0.0))


def sigma(mean: Numbers, spread: Numbers, measure: Measure, trust: Trust) -> Numbers:
    """Standard uncertainty of one reading, on the scale: meter, contact, model, and loads."""
    span = trust.range_of(measure)
    limit = span.relative * mean + span.counts * span.resolution
    variance = (METER_LEFT * limit) ** 2 + span.resolution**2 / 12.0
    relative = trust.table.spread.discrepancy_relative
    if measure == "ohms":
        variance = variance + 2.0 * trust.meter.contact.half_width_ohm**2 / 3.0
    elif measure == "volts":
        relative = float(np.hypot(relative, trust.table.spread.supply_relative))
    variance = variance + (relative**2 + spread**2) * mean**2
    return np.asarray(np.sqrt(variance) / (mean + OFFSET[measure]))


def heard_right(test: Test, predicted: Predicted, outcome: Outcome, trust: Trust) -> Numbers:
    """Likelihood (H, K) of an outcome that was heard right; density for a number.

    Raises:
        ValueError: the test has no such outcome.
    """
    if predicted.words is not None:
        return _word(test, predicted.words, outcome)
    mean, spread, none, error = _numbers(predicted)
    if isinstance(outcome, str):
        return _beep(test, mean, outcome, trust)
    is_open = _is_open(test, mean)
    if isinstance(outcome, tuple):
        return _within(test, predicted, outcome, trust)
    if isinf(outcome) or (test.measure == "ohms" and outcome > OPEN_OHM):
        return np.where(is_open, 1.0, 0.0)
    x = scale(max(0.0, outcome), test.measure)

    def density(middle: Numbers, s: Numbers) -> Numbers:
        z = (x - scale(middle, test.measure)) / s
        return np.asarray(np.exp(-0.5 * z**2) / (s * np.sqrt(2.0 * np.pi)))

    middle = displayed(np.where(is_open, 1.0, mean), error, test.measure, trust)
    at = density(middle, sigma(middle, spread, test.measure, trust))
    zero = np.zeros_like(mean)
    dark_middle = displayed(zero, error, test.measure, trust)
    dark = density(dark_middle, sigma(dark_middle, zero, test.measure, trust))
    return np.asarray(np.where(is_open, 0.0, (1.0 - none) * at + none * dark))


def _numbers(predicted: Predicted) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    found = (predicted.mean, predicted.spread, predicted.none, predicted.error)
    mean, spread, none, error = found
    if mean is None or spread is None or none is None or error is None:
        raise AssertionError("a prediction has words, or all that goes with a number")
    return mean, spread, none, error


def heard_wrong(test: Test, outcome: Outcome) -> float:
    """Chance or density of an outcome when it was misheard, or when nothing listed is true."""
    if isinstance(outcome, str):
        return 1.0 / max(2, len(test.outcomes))
    numbers = 1.0 - (MISHEARD_OL if test.measure == "ohms" else 0.0)
    if isinstance(outcome, tuple):
        low, high = (min(edge, MOST[test.measure]) for edge in outcome)
        reach = scale(high, test.measure) - scale(low, test.measure)
        whole = scale(MOST[test.measure], test.measure) - scale(0.0, test.measure)
        return float(numbers * reach / whole) + (1.0 - numbers) * isinf(outcome[1])
    if isinf(outcome) or (test.measure == "ohms" and outcome > OPEN_OHM):
        return MISHEARD_OL
    offset = OFFSET[test.measure]
    return numbers / (log(MOST[test.measure] + offset) - log(offset))


def repeat(test: Test, first: Outcome, again: Outcome, trust: Trust) -> float:
    """How likely the same meter on the same points shows ``again`` after ``first``."""
    if isinstance(first, str) or isinstance(again, str):
        same = 1.0 - 2.0 * trust.table.wrong_way.trips
        return same if first == again else (1.0 - same) / 2.0
    if isinstance(first, tuple) or isinstance(again, tuple):
        return 1.0 if first == again else 0.0
    if isinf(first) or isinf(again):
        return 1.0 if first == again else 0.0
    span = trust.range_of(test.measure)
    contact = trust.meter.contact.half_width_ohm if test.measure == "ohms" else 0.0
    noise = (span.resolution**2 / 6.0 + 4.0 * contact**2 / 3.0 + (0.01 * first) ** 2) ** 0.5
    s = noise / (first + OFFSET[test.measure])
    z = float(scale(again, test.measure) - scale(first, test.measure)) / s
    return float(np.exp(-0.5 * z * z) / (s * np.sqrt(2.0 * np.pi)))


def ways(
    test: Test, predicted: Predicted, heard: Sequence[Observation], trust: Trust
) -> Iterator[tuple[Numbers, Outcome | None]]:
    """Likelihood (H, K) of all readings of one test, for each choice of those that were heard
    right; and the first of those, if any.

    Readings of the same points share one truth, so saying it again adds only that it was
    heard right.
    """
    for wrong in product((False, True), repeat=len(heard)):
        right = [o.outcome for o, w in zip(heard, wrong, strict=True) if not w]
        weight = 1.0
        for observation, is_wrong in zip(heard, wrong, strict=True):
            rate = trust.rate(observation)
            weight *= rate * heard_wrong(test, observation.outcome) if is_wrong else 1.0 - rate
        for again in right[1:]:
            weight *= repeat(test, right[0], again, trust)
        if right:
            yield weight * heard_right(test, predicted, right[0], trust), right[0]
        else:
            yield np.asarray(weight), None


def together(
    test: Test, predicted: Predicted, heard: Sequence[Observation], trust: Trust
) -> Numbers:
    """Log-likelihood (H, K) of all readings of one test, each heard right or not."""
    total = sum((found for found, _ in ways(test, predicted, heard, trust)), np.asarray(0.0))
    return np.asarray(np.log(np.maximum(total, 1e-300)))


def outcome_table(test: Test, predicted: Predicted, trust: Trust) -> Numbers:
    """Chances (H, K, outcomes) that a test comes out in each word, or in each band of numbers."""
    words = predicted.words
    table = words if words is not None else _bands(test, predicted, trust)
    return np.asarray((1.0 - trust.misheard) * table + trust.misheard / table.shape[-1])


def _is_open(test: Test, mean: Numbers) -> Numbers:
    return mean > OPEN_OHM if test.measure == "ohms" else np.zeros(mean.shape, dtype=bool)


def _within(test: Test, predicted: Predicted, span: tuple[float, float], trust: Trust) -> Numbers:
    """Chance of a reading within a span; a span without end takes OL in."""
    mean, spread, none, error = _numbers(predicted)
    is_open = _is_open(test, mean)
    middle = displayed(np.where(is_open, 1.0, mean), error, test.measure, trust)
    s = sigma(middle, spread, test.measure, trust)
    edges = [1.0 * np.ones_like(mean) if isinf(edge) else
             normal_cdf((scale(edge, test.measure) - scale(middle, test.measure)) / s)
             for edge in span]  # fmt: skip
    low = np.zeros_like(mean) if span[0] <= 0 else edges[0]
    return np.asarray(np.where(is_open, float(isinf(span[1])), (1.0 - none) * (edges[1] - low)))


def _bands(test: Test, predicted: Predicted, trust: Trust) -> Numbers:
    mean, spread, none, error = _numbers(predicted)
    is_open = _is_open(test, mean)
    edges = scale(np.array(EDGES[test.measure]), test.measure)
    middle = displayed(np.where(is_open, 1.0, mean), error, test.measure, trust)
    s = sigma(middle, spread, test.measure, trust)
    z = ((edges - scale(middle, test.measure)[..., None]) / s[..., None]).astype(np.float32)
    bands = np.empty((*mean.shape, len(edges) + 2), dtype=np.float32)
    below = rough_cdf(z)
    bands[..., -1] = 0.0
    bands[..., 0], bands[..., -2] = below[..., 0], 1.0 - below[..., -1]
    bands[..., 1:-2] = below[..., 1:] - below[..., :-1]
    bands *= np.where(is_open, 0.0, 1.0 - none)[..., None]
    bands[..., 0] += np.where(is_open, 0.0, none)
    bands[..., -1] = is_open
    return bands


def outcome_place(test: Test, outcome: Outcome) -> int | None:
    """Which outcome of ``outcome_table`` one is; None where it is none of them by itself."""
    if test.words or test.measure not in EDGES:
        return test.outcomes.index(outcome) if outcome in test.outcomes else None
    if isinstance(outcome, str | tuple):
        return None
    edges = EDGES[test.measure]
    is_open = isinf(outcome) or (test.measure == "ohms" and outcome > OPEN_OHM)
    return len(edges) + 1 if is_open else bisect_right(edges, outcome)


def _word(test: Test, words: Numbers, outcome: Outcome) -> Numbers:
    if outcome == "holds" and test.measure == "breaker":
        return np.asarray(1.0 - words[..., 0])
    if not isinstance(outcome, str) or outcome not in test.outcomes:
        raise ValueError(f"{test.name} comes out as one of {test.outcomes}, not {outcome!r}")
    return np.asarray(words[..., test.outcomes.index(outcome)])


def _beep(test: Test, mean: Numbers, outcome: str, trust: Trust) -> Numbers:
    if test.measure != "ohms" or outcome not in {"beeps", "silent"}:
        raise ValueError(f"{test.name} reads a number, not {outcome!r}")
    beep = trust.meter.beep
    sounds = np.clip((beep.never_ohm - mean) / (beep.never_ohm - beep.sure_ohm), 0.0, 1.0)
    return sounds if outcome == "beeps" else 1.0 - sounds
