"""Simulated calls as one table of Markdown, a column for each variant."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from companion.closed_loop.held import Outcome
from companion.messages import Prompt, StepEntered
from companion.speaking import to_eye
from companion.understood import Answer, Command, NotUnderstood, Reading

if TYPE_CHECKING:
    from companion.closed_loop.many import Result, Variant

RIGHT = frozenset({"success", "left, comes and goes"})


def table(results: Mapping[Variant, Sequence[Result]]) -> str:
    """What there is to say of all calls."""
    columns = [dict(_rows(some)) for some in results.values()]
    names = list(dict.fromkeys(name for column in columns for name in column))
    lines = [f"| measure | {' | '.join(results)} |", "|---" * (1 + len(columns)) + "|"]
    lines += [
        f"| {name} | {' | '.join(column.get(name, '–') for column in columns)} |" for name in names
    ]
    return "\n".join(lines)


def _rows(some: Sequence[Result]) -> list[tuple[str, str]]:
    calls, ended = len(some), Counter(result.ended for result in some)

    def share(*names: str) -> str:
        return f"{sum(ended[name] for name in names) / calls:.1%}"

    there = [r for r in some if not r.drawn.hidden.startswith("none now")]
    lasting = [r for r in there if r.drawn.comes >= 1.0 and "comes and goes" not in r.drawn.hidden]
    mended = sum(r.ended == "success" for r in lasting) / max(1, len(lasting))
    minutes = np.array([r.minutes for r in some])
    best = [(r.minutes, r.best_minutes) for r in some if r.best_minutes > 0.0]
    turn_ms = 1e3 * np.array([s for r in some for s in r.turn_s] or [0.0])
    slips, back = sum(r.slips for r in some), sum(r.taken_back for r in some)
    rows = [
        ("fault that stays: right part mended and proved, no other touched", f"{mended:.1%}"),
        ("comes and goes, or nothing there: left with power off", share("left, comes and goes")),
        ("wrong part named, all", share("wrong part", "wrong part, then right")),
        ("wrong part named, and right one never", share("wrong part")),
        ("no part named though there was one", share("gave up")),
    ]
    others = sorted(n for n in ended if n not in RIGHT | {"wrong part", "wrong part, then right",
                                                          "gave up"})  # fmt: skip
    rows += [(name.split(" at ")[0], share(name)) for name in others]
    rows += [
        ("interlock breaches", str(sum(len(r.breaches) for r in some))),
        ("tests, mean", f"{np.mean([r.tests for r in some]):.1f}"),
        ("effort of tests, minutes, mean", f"{minutes.mean():.1f}"),
    ]
    if best:
        ratio = sum(a for a, _ in best) / sum(b for _, b in best)
        rows.append(("effort to the reasoner's own sequence, every answer true", f"{ratio:.2f}"))
    return [
        *rows,
        ("turns, mean", f"{np.mean([r.turns for r in some]):.0f}"),
        ("asked again, per call", f"{np.mean([r.asked_again for r in some]):.2f}"),
        ("the same test right after its reading was confirmed, per 100 calls",
         f"{100 * np.mean([r.doubted for r in some]):.1f}"),
        ("misheard or misread, taken back", f"{slips}, {back}"),
        ("fuses burnt, per 100 calls", f"{100 * np.mean([r.fuses for r in some]):.1f}"),
        ("fuse put back unasked, per 100 calls", f"{100 * np.mean([r.unasked for r in some]):.1f}"),
        ("one turn's thinking, ms, median, 95 %",
         f"{np.median(turn_ms):.1f}, {np.quantile(turn_ms, 0.95):.1f}"),
        ("memory of a process that held all equipment, MB",
         f"{max(r.memory_mb for r in some):.0f}"),
    ]  # fmt: skip


def dialogue(outcome: Outcome) -> Iterator[str]:
    """A call word for word, with the steps and tests that it went through."""
    lines = iter(outcome.lines)
    for message in outcome.messages:
        match message:
            case Reading() | Answer() | Command() | NotUnderstood():
                yield f"    > {next(lines)}"
            case Prompt():
                yield f"    {to_eye(message)}"
            case StepEntered():
                yield f"[{message.step} {message.about or ''}]"
