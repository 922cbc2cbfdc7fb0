"""Numbers whose words are easily taken for each other: "fifteen" and "fifty"."""

from __future__ import annotations


def sounds_like(number: float) -> float | None:
    """The ten of a teen from 13 on, and the teen of a bare ten from 30 on; else None."""
    if number in range(13, 20):
        return number % 10 * 10
    return 10 + number // 10 if number in range(30, 100, 10) else None
