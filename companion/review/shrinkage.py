"""From counts of proved faults to prior weights: few calls move a weight little.

A Dirichlet prior whose mean is the weights known so far; its strength is a number of calls.
For all calls together the mean is the shipped table and the strength is given; for equipment,
and for a season of it, the mean is that of the wider group, and the strength is the one under
which the groups' counts are likeliest (Dirichlet-multinomial), so that groups which are alike
are held together and groups which differ are let apart. Textbook: Gelman et al., Bayesian Data
Analysis, 3rd ed., ch. 5.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import lgamma

Cell = tuple[str, str]
Shares = Mapping[Cell, float]
Seen = Sequence[tuple[frozenset[Cell], float]]

_STRENGTHS = (5.0, 10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 640.0, 1280.0)
_ROUNDS = 30


def shared(weights: Mapping[Cell, float]) -> dict[Cell, float]:
    """Weights as shares of their sum."""
    total = sum(weights.values())
    return {cell: weight / total for cell, weight in weights.items() if weight > 0}


def spread(seen: Seen, mean: Shares, strength: float) -> dict[Cell, float]:
    """Counts by cell. A call whose fault could be one of several is shared among them, by what
    is believed of each (expectation-maximization, to a standstill or 30 rounds)."""
    posterior = dict(mean)
    counts: dict[Cell, float] = {}
    for _ in range(_ROUNDS):
        counts = dict.fromkeys(mean, 0.0)
        for cells, calls in seen:
            known = [cell for cell in cells if cell in mean]
            total = sum(posterior[cell] for cell in known)
            for cell in known:
                counts[cell] += calls * posterior[cell] / total
        after = shrunk(counts, mean, strength)
        if max(abs(after[cell] - posterior[cell]) for cell in mean) < 1e-9:
            break
        posterior = after
    return counts


def shrunk(counts: Mapping[Cell, float], mean: Shares, strength: float) -> dict[Cell, float]:
    """The shares that counts and prior make together; they sum to 1."""
    total = sum(counts.values()) + strength
    return {
        cell: (counts.get(cell, 0.0) + strength * share) / total for cell, share in mean.items()
    }


def likeliest_strength(groups: Sequence[Mapping[Cell, float]], mean: Shares) -> float:
    """Of some strengths from 5 to 1280 calls, the one under which the groups are likeliest."""
    return max(
        _STRENGTHS, key=lambda strength: sum(_log_chance(group, mean, strength) for group in groups)
    )


def _log_chance(counts: Mapping[Cell, float], mean: Shares, strength: float) -> float:
    total = lgamma(strength) - lgamma(sum(counts.values()) + strength)
    for cell, share in mean.items():
        count = counts.get(cell, 0.0)
        total += lgamma(count + strength * share) - lgamma(strength * share)
    return total
