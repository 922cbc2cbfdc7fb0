"""Choosing the next test: swappable, each a function of a case and the tests allowed now."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from companion.diagnosis.case import Case
from companion.diagnosis.endgame import few, minutes_to_the_end
from companion.diagnosis.gain import expected_gain, outlook

TestChooser = Callable[[Case, Sequence[str]], str | None]

LEAST_BITS = 3e-3  # a test that is expected to tell less is not worth asking
# Tried on simulated calls, as SURE and CAUTION of ``stopping`` were.
# Cheap tests that tell next to nothing beside what another would are not strung together.
WORTHWHILE_SHARE = 0.15
CLEARLY_MORE = 1.08  # below this a plan by sure outcomes is no better than bits per minute
SURE_OF_CIRCUIT = 0.9  # from here the fixed sweep keeps to one circuit


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


def by_plan(case: Case, allowed: Sequence[str]) -> str | None:
    """The test with the most expected bits per minute; among the last few suspects another, where
    that costs clearly less to the end."""
    name = by_gain_per_cost(case, allowed)
    left = few(case)
    if name is None or left is None:
        return name
    names = case.open(allowed)
    outcomes = outlook(case, names, left.rows)
    spent = {} if outcomes is None else minutes_to_the_end(case, names, left, outcomes)
    if name not in spent:
        return name
    best = min(spent, key=lambda other: spent[other])
    return best if spent[name] > CLEARLY_MORE * spent[best] else name


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
