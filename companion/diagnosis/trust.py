"""How observations come out, given what is really there: lamps, looks, and meters."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.hypotheses import Hypothesis
from companion.diagnosis.tables import DamageSeen, Likelihoods
from companion.diagnosis.trial import Test

Numbers = NDArray[Any]


def normal_cdf(x: Numbers) -> Numbers:
    """Standard normal distribution function, off by less than 7.5e-8.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.17.
    """
    t = 1.0 / (1.0 + 0.2316419 * np.abs(x))
    series = (0.319381530, -0.356563782, 1.781477937, -1.821255978, 1.330274429)
    tail = t * (series[0] + t * (series[1] + t * (series[2] + t * (series[3] + t * series[4]))))
    tail *= np.exp(-0.5 * np.square(x)) / np.sqrt(2.0 * np.pi)
    return np.asarray(np.where(x >= 0, 1.0 - tail, tail))


def rough_cdf(x: Numbers) -> Numbers:
    """Standard normal distribution function, off by less than 2e-4, for choosing tests only.

    Source: E. Page, Applied Statistics 26 (1977) 75-76 (from memory); its bound is tested.
    """
    steep = np.clip(x * (1.5957691 + 0.0713548 * x * x), -80.0, 80.0)
    return np.asarray(1.0 / (1.0 + np.exp(-steep)))


def lamp_words(lamp_volt: Numbers, trust: Likelihoods) -> Numbers:
    """Chances of bright, dim and dark, (..., 3), from the voltage across the lamp."""
    lamp, wrong = trust.lamp, trust.wrong_way.lamp
    above_dim = normal_cdf((lamp_volt - lamp.dim_from_volt) / lamp.spread_volt)
    above_bright = normal_cdf((lamp_volt - lamp.bright_from_volt) / lamp.spread_volt)
    words = np.stack([above_bright, above_dim - above_bright, 1.0 - above_dim], axis=-1)
    return np.asarray((1.0 - wrong) * words + wrong / 3.0)


def looks(test: Test, hypotheses: Sequence[Hypothesis], trust: Likelihoods) -> Numbers:
    """Chance that a look finds damage, (hypotheses,)."""
    wrong = trust.wrong_way.looks
    chances = []
    for h in hypotheses:
        if not h.parts:
            chances.append(0.5)
        elif test.sees == "fuse":
            # A bigger fuse tells nothing: people fit one when the right one keeps opening.
            misread = trust.wrong_way.label
            chances.append(1.0 - misread if "fuse" in h.parts else trust.fitted.under_marking)
        else:
            chances.append(max(wrong, _seen(h, trust.damage_seen) if test.sees in h.parts else 0.0))
    return np.array(chances)


def _seen(h: Hypothesis, seen: DamageSeen) -> float:
    by_kind = {
        "outdoor cable": seen.outdoor_cable,
        "indoor cable": seen.thermostat_cable,
        "thermostat cable": seen.thermostat_cable,
        "splice": seen.splice,
        # An open switch looks like a closed one; a rubbed lead does not.
        "switch": seen.switch_lead if "chassis" in h.kinds else 0.0,
    }
    return max(by_kind.get(kind, 0.0) for kind in h.part_kinds)
