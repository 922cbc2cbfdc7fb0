"""Two clocks: the wall's, that people read and that may jump; and a steady one, for order."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

_JUMP_S = 5.0  # more than a clock is ever set right by in passing
_BUILT = datetime(2025, 1, 1, tzinfo=UTC)  # no call is older than the program


def wall_now() -> datetime:
    """The wall clock, in UTC."""
    return datetime.now(UTC)


class Clock:
    """Stamps for entries; the steady one never goes back.

    Args:
        now: the wall clock, mono: a steady clock in seconds.
    """

    def __init__(
        self,
        now: Callable[[], datetime] = wall_now,
        mono: Callable[[], float] = time.monotonic,
    ) -> None:
        self._now, self._mono = now, mono
        self._last: tuple[datetime, float] | None = None
        self._told: list[str] = []

    def stamp(self) -> tuple[datetime, float]:
        """Wall and steady time; what is odd about them is kept for ``oddities``."""
        steady = self._mono() if self._last is None else max(self._mono(), self._last[1])
        expected = (
            None
            if self._last is None
            else self._last[0] + timedelta(seconds=steady - self._last[1])
        )
        try:
            wall = self._now()
        except (OSError, OverflowError, ValueError):
            wall = expected or datetime.fromtimestamp(0, UTC)
        if expected is None:
            if wall < _BUILT:
                self._told.append(f"The clock says {wall.year}. Times in the record are wrong.")
        elif abs(jump := (wall - expected).total_seconds()) > _JUMP_S:
            way = "ahead" if jump > 0 else "back"
            self._told.append(f"The clock jumped {way} by {_span(abs(jump))}. The order is kept.")
        self._last = (wall, steady)
        return self._last

    def oddities(self) -> list[str]:
        """What was odd since the last question."""
        told, self._told = self._told, []
        return told


def _span(seconds: float) -> str:
    for unit, size in (("day", 86400), ("hour", 3600), ("minute", 60)):
        if seconds >= 2 * size:
            return f"{seconds / size:.0f} {unit}s"
    return f"{seconds:.0f} seconds"
