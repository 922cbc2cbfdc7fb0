"""A page of figures across calls: what fails, where, when, and how well the talk went."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from companion.review.learning import COMPLAINTS, Learned
from companion.review.page import rendered

_SEASONS = ("winter", "spring", "summer", "autumn")
_SHOWN = 12
_TOTALS = """
SELECT count(*), count(*) FILTER (proved), median(minutes), sum(said - missed) / sum(said),
    sum(taken_back), sum(blocked), min(begun)::DATE::VARCHAR, max(begun)::DATE::VARCHAR
FROM calls
"""
_OUTCOMES = """
SELECT coalesce(replace(outcome, '_', ' '), 'not finished'), count(*) FROM calls
GROUP BY ALL ORDER BY 2 DESC, 1
"""
_SEASONAL = "SELECT profile, season, count(*) FROM calls GROUP BY ALL"
_MINUTES = """
SELECT least(floor(minutes / 10), 11)::INTEGER AS tens, count(*) FROM calls
WHERE outcome IS NOT NULL GROUP BY ALL ORDER BY 1
"""
_MONTHS = """
SELECT strftime(begun, '%Y-%m'), sum(said - missed) / sum(said) FROM calls WHERE said > 0
GROUP BY ALL ORDER BY 1 DESC LIMIT 24
"""


@dataclass(frozen=True)
class Bar:
    """One bar: its share of the longest, what it stands for, and a mark to hold it against."""

    name: str
    share: float
    told: str
    mark: float | None = None


def figures_page(database: Any, learned: Sequence[Learned]) -> str:
    """The page over the table ``calls``, with the weights learned from it."""
    totals = database.execute(_TOTALS).fetchone()
    return rendered(
        "figures.html.j2",
        totals=dict(zip(
            ("calls", "proved", "minutes", "at_once", "taken_back", "blocked", "first", "last"),
            totals, strict=True,
        )),
        outcomes=_bars(database.execute(_OUTCOMES).fetchall()),
        faults=[(c, learned[0].calls[c], _faults(learned[0], c)) for c in COMPLAINTS],
        seasons=_SEASONS,
        seasonal=_seasonal(database.execute(_SEASONAL).fetchall()),
        minutes=_bars([
            (f"{tens * 10} to {tens * 10 + 10}" if tens < 11 else "110 and more", calls)
            for tens, calls in database.execute(_MINUTES).fetchall()
        ]),
        months=[
            Bar(month, share, f"{share:.1%}")
            for month, share in reversed(database.execute(_MONTHS).fetchall())
        ],
        groups=[g for g in learned if g.group != "all"],
    )  # fmt: skip


def _bars(rows: Sequence[tuple[str, int]]) -> list[Bar]:
    most = max((count for _, count in rows), default=1)
    return [Bar(name, count / most, f"{count:,}") for name, count in rows]


def _faults(learned: Learned, complaint: str) -> list[Bar]:
    """Shares as learned; the mark is what was counted and nothing else."""
    weights, counts = learned.weights[complaint], learned.counts[complaint]
    whole, calls = sum(weights.values()), learned.calls[complaint]
    if not calls:
        return []
    first = sorted(weights, key=lambda cell: -weights[cell])[:_SHOWN]
    most = max(max(weights[c] / whole, counts[c] / calls) for c in first)
    return [
        Bar(
            f"{part}, {kind}", weights[part, kind] / whole / most,
            f"{weights[part, kind] / whole:.1%} of faults; counted {counts[part, kind]:,.0f}",
            counts[part, kind] / calls / most,
        )
        for part, kind in first
    ]  # fmt: skip


def _seasonal(rows: Sequence[tuple[str, str, int]]) -> list[tuple[str, list[int]]]:
    found = {(profile, season): calls for profile, season, calls in rows}
    profiles = sorted({profile for profile, _, _ in rows})
    return [(p, [found.get((p, season), 0) for season in _SEASONS]) for p in profiles]
