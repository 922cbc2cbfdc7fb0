"""Uncertainty by the GUM (JCGM 100): a budget of terms, combined and expanded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt


@dataclass(frozen=True)
class Term:
    """One line of a budget: standard uncertainty and sensitivity, and how they were had."""

    name: str
    standard: float
    sensitivity: float
    source: str

    @property
    def share(self) -> float:
        """Its part of the result's standard uncertainty, in the result's unit."""
        return abs(self.sensitivity * self.standard)


@dataclass(frozen=True)
class Estimate:
    """A value with its unit, standard uncertainty and budget."""

    value: float
    unit: str
    standard: float
    terms: tuple[Term, ...] = ()
    coverage: float = 2.0

    @property
    def expanded(self) -> float:
        """U = k u, about 95 % for k = 2 (JCGM 100, 6.2.1 and 6.3)."""
        return self.coverage * self.standard

    @property
    def interval(self) -> tuple[float, float]:
        """Value -+ U."""
        return self.value - self.expanded, self.value + self.expanded


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value within +-half_width: a/sqrt(3) (JCGM 100, 4.3.7).

    Raises:
        ValueError: the half-width is negative.
    """
    if half_width < 0:
        raise ValueError(f"a half-width of {half_width} is below zero")
    return half_width / sqrt(3.0)


def resolution(step: float) -> float:
    """Standard uncertainty of a display that moves in steps: 0.29 step (JCGM 100, F.2.2.1)."""
    return rectangular(step / 2.0)


def combine(value: float, unit: str, terms: Sequence[Term], coverage: float = 2.0) -> Estimate:
    """Root sum of squares of uncorrelated terms (JCGM 100, 5.1.2, equation 10)."""
    return Estimate(value, unit, hypot(*(t.share for t in terms)), tuple(terms), coverage)
