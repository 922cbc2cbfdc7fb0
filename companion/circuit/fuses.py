"""Will this current open a blade fuse, how soon, and in which band."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import exp, inf, log
from typing import Literal

from companion.circuit.shapes import Band
from companion.circuit.tables import fuses

Opening = Literal["carries", "may open", "opens slowly", "opens quickly"]
Fitting = Literal["same", "over", "under"]

# The band from which a fuse opens within seconds, not minutes.
QUICK_MULTIPLE = 2.0


@dataclass(frozen=True)
class Verdict:
    """Times in seconds, interpolated log-log between the standard's points.

    ``most_s`` is infinite where the standard promises no opening.
    """

    opening: Opening
    multiple: float
    band: str
    least_s: float
    most_s: float
    source: str


def blade(current_ampere: float, rating_ampere: float) -> Verdict:
    """What a blade fuse does at a steady current.

    Valid for the ratings that boards carry; the standard is written for DC.

    Raises:
        ValueError: a rating that is not above zero, or a current below zero.

    Source: dialogs/circuit/fuses.toml.
    """
    if rating_ampere <= 0 or current_ampere < 0:
        raise ValueError("a fuse has a rating above zero, and current is not below zero")
    kind = fuses().blade
    bands = kind.band
    multiple = current_ampere / rating_ampere
    least_s, most_s = _times(multiple, bands)
    opening: Opening
    if multiple <= kind.never_opens_at:
        return Verdict("carries", multiple, f"up to {kind.never_opens_at:.0%}", inf, inf,
                       kind.source)  # fmt: skip
    if multiple < bands[0].multiple:
        band = f"{kind.never_opens_at:.0%} to {bands[0].multiple:.0%}"
        return Verdict("may open", multiple, band, least_s, inf, kind.source)
    opening = "opens quickly" if multiple >= QUICK_MULTIPLE else "opens slowly"
    return Verdict(opening, multiple, _band(multiple, bands), least_s, most_s, kind.source)


def opening_chance(multiple: float, wait_s: float) -> float:
    """Chance that a fuse or breaker has opened after a wait, 0 to 1.

    Certain knowledge ends where the standard's least and most times are: between them the
    chance rises with the logarithm of time; between the "carries" and the first band it
    rises linearly from nothing (judgement).
    """
    kind = fuses().blade
    first = kind.band[0]
    if multiple <= kind.never_opens_at or wait_s <= 0:
        return 0.0
    least_s, most_s = _times(max(multiple, first.multiple), kind.band)
    done = (log(wait_s) - log(least_s)) / (log(most_s) - log(least_s))
    reach = (multiple - kind.never_opens_at) / (first.multiple - kind.never_opens_at)
    return min(1.0, max(0.0, done)) * min(1.0, reach)


def against_marking(fitted_ampere: float, marked_ampere: float) -> Fitting:
    """A fitted rating against the board's marking, which alone decides."""
    if fitted_ampere > marked_ampere:
        return "over"
    return "under" if fitted_ampere < marked_ampere else "same"


def _band(multiple: float, bands: tuple[Band, ...]) -> str:
    for low, high in pairwise(bands):
        if multiple < high.multiple:
            return f"{low.multiple:.0%} to {high.multiple:.0%}"
    return f"{bands[-1].multiple:.0%} and above"


def _times(multiple: float, bands: tuple[Band, ...]) -> tuple[float, float]:
    if multiple <= bands[0].multiple:
        return bands[0].least_s, bands[0].most_s
    for low, high in pairwise(bands):
        if multiple <= high.multiple:
            part = log(multiple / low.multiple) / log(high.multiple / low.multiple)
            return (
                exp(log(low.least_s) + part * log(high.least_s / low.least_s)),
                exp(log(low.most_s) + part * log(high.most_s / low.most_s)),
            )
    return bands[-1].least_s, bands[-1].most_s
