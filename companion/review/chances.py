"""How belief moved: lines of chance over evidence, told apart by dash and label, not by colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from companion.messages import Suspect
from companion.review.facts import Believed

WIDTH, HEIGHT = 720, 260
_LEFT, _RIGHT, _TOP, _BOTTOM = 44, 420, 16, 222
_SHOWN = 5
_APART = 17


@dataclass(frozen=True)
class Line:
    """One suspect: its points in the SVG's units, and where its label stands."""

    name: str
    style: int
    points: tuple[tuple[float, float], ...]
    chances: tuple[float, ...]
    label_y: float

    @property
    def path(self) -> str:
        """For ``polyline``."""
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in self.points)


@dataclass(frozen=True)
class Chart:
    """The likeliest suspects over the evidence."""

    lines: tuple[Line, ...]
    steps: tuple[Believed, ...]
    ticks: tuple[tuple[float, str], ...]
    marks: tuple[tuple[float, int], ...]
    words: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = _LEFT
    right: int = _RIGHT
    bottom: int = _BOTTOM


def name_of(suspect: Suspect) -> str:
    """Part, fault and terminal in one."""
    at = f" on {suspect.terminal}" if suspect.terminal else ""
    return f"{suspect.part}{at}, {suspect.fault}" if suspect.fault else f"{suspect.part}{at}"


def chart(believed: Sequence[Believed]) -> Chart | None:
    """The chart; None where the reasoner said nothing."""
    if not believed:
        return None
    tables = [{name_of(s): s.chance for s in step.suspicion.suspects} for step in believed]
    most = {name: max(t.get(name, 0.0) for t in tables) for table in tables for name in table}
    last = tables[-1]
    shown = sorted(most, key=lambda name: (-last.get(name, 0.0), -most[name], name))[:_SHOWN]
    count = len(believed)
    xs = [_LEFT + (_RIGHT - _LEFT) * (n / (count - 1) if count > 1 else 1.0) for n in range(count)]
    ends = _apart([_y(last.get(name, 0.0)) for name in shown])
    lines = tuple(
        Line(
            name, style, tuple((x, _y(t.get(name, 0.0))) for x, t in zip(xs, tables, strict=True)),
            tuple(t.get(name, 0.0) for t in tables), ends[style],
        )
        for style, name in enumerate(shown)
    )  # fmt: skip
    ticks = tuple((_y(share), f"{share:.0%}") for share in (0.0, 0.25, 0.5, 0.75, 1.0))
    every = max(1, count // 12)
    marks = tuple((x, n + 1) for n, x in enumerate(xs) if n % every == 0 or n == count - 1)
    first = shown[0]
    words = (
        f"Chance of each suspect over {count} pieces of evidence. "
        f"{first} went from {tables[0].get(first, 0.0):.0%} to {last.get(first, 0.0):.0%}."
    )
    return Chart(lines, tuple(believed), ticks, marks, words)


def _y(share: float) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * share


def _apart(ys: Sequence[float]) -> list[float]:
    """Labels at these heights, moved up until none covers another; the first is the highest."""
    order = sorted(range(len(ys)), key=lambda index: (-ys[index], -index))
    placed = [0.0] * len(ys)
    below = float("inf")
    for index in order:
        placed[index] = below = min(ys[index] + 4, below - _APART)
    return placed
