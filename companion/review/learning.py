"""What a folder of calls teaches: how often each kind of fault was proved, as prior weights."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict

from companion.datafiles import load
from companion.review.installation import Installation
from companion.review.shrinkage import (
    Cell,
    Seen,
    likeliest_strength,
    shared,
    shrunk,
    spread,
)

Complaint = str
COMPLAINTS: tuple[Complaint, ...] = ("opens", "nothing")
_PROVED = """
SELECT complaint, profile, season, part, fault, count(*) FROM calls
WHERE outcome = 'repaired' AND proved AND part IS NOT NULL GROUP BY ALL ORDER BY ALL
"""


class Names(BaseModel):
    """``dialogs/review/faults.toml``: what records call faults and parts, as kinds."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    kinds: dict[str, tuple[str, ...]]
    parts: dict[str, tuple[str, ...]]


@dataclass(frozen=True)
class Learned:
    """Weights of one group of calls: all, one equipment, or one equipment in one season.

    ``counts`` and ``weights`` are by complaint, then by kind of part and of fault; weights sum
    to what the shipped table's do.
    """

    group: str
    calls: dict[Complaint, float]
    strength: dict[Complaint, float]
    counts: dict[Complaint, dict[Cell, float]]
    weights: dict[Complaint, dict[Cell, float]]


def learn(
    database: Any, priors: Path, installations: Iterable[Installation], strength: float = 50.0
) -> list[Learned]:
    """Everything learned from ``calls``: all together first, then every narrower group.

    Only repairs that were proved under load count. A fault that the record does not tell
    fully ("wiring", or no kind) is shared among what it may have been.

    Args:
        priors: the shipped table, ``dialogs/circuit/priors.toml``.
        strength: how many calls the shipped table is worth.
    """
    table = tomllib.loads(priors.read_text(encoding="utf-8"))["fault"]
    names = load(priors.parents[1] / "review" / "faults.toml", Names)
    kinds = {i.id: i.part_kinds() for i in installations}
    rows = database.execute(_PROVED).fetchall()
    groups: dict[str, dict[Complaint, list[Any]]] = defaultdict(lambda: defaultdict(list))
    for complaint, profile, season, part, fault, calls in rows:
        parts = names.parts.get(part) or (kinds.get(profile, {}).get(part, part),)
        faults = None if fault is None else names.kinds.get(fault, (fault,))
        cells = frozenset(
            (row["part"], row["kind"])
            for row in table
            if row["part"] in parts and (faults is None or row["kind"] in faults)
        )
        for group in ("all", profile, f"{profile}.{season}"):
            groups[group][complaint].append((cells, float(calls)))
    learned = {
        "all": _learned("all", groups["all"], _shipped(table), dict.fromkeys(COMPLAINTS, strength))
    }
    for depth in (1, 2):
        named = [g for g in groups if g != "all" and g.count(".") + 1 == depth]
        for parent in sorted({_parent(g) for g in named}):
            if parent not in learned:
                continue
            children = [g for g in named if _parent(g) == parent]
            strengths = _strengths([groups[g] for g in children], learned[parent])
            for group in sorted(children):
                learned[group] = _learned(group, groups[group], learned[parent].weights, strengths)
    return list(learned.values())


def as_priors(learned: Learned, shipped: str) -> str:
    """The shipped table with the learned weights in place of its own; all else stays.

    ``source`` tells from how many calls, and each changed line how many of them were that
    fault, so that the reasoning core reads it as it reads the shipped one.
    """
    out = []
    part = kind = ""
    for line in shipped.splitlines():
        key, _, value = (text.strip() for text in line.partition("="))
        if key == "source" and not part:
            told = ", ".join(f"{learned.calls[c]:g} {c}" for c in COMPLAINTS)
            line = f'source = "learned from proved repairs ({told}) of group {learned.group}"'
        elif line.startswith("[") and not line.startswith("[[fault]]"):
            part = kind = "-"
        elif key == "part":
            part = value.strip('"')
        elif key == "kind":
            kind = value.strip('"')
        elif key in COMPLAINTS and (cell := (part, kind)) in learned.weights[key]:
            count = learned.counts[key][cell]
            line = (
                f"{key} = {learned.weights[key][cell]:.6g}  # {count:g} of {learned.calls[key]:g}"
            )
        out.append(line)
    return "\n".join([*out, ""])


def _learned(
    group: str,
    seen: Mapping[Complaint, Seen],
    means: Mapping[Complaint, Mapping[Cell, float]],
    strengths: Mapping[Complaint, float],
) -> Learned:
    counts, weights, calls = {}, {}, {}
    for complaint in COMPLAINTS:
        mean, sum_of_weights = shared(means[complaint]), sum(means[complaint].values())
        counts[complaint] = spread(seen.get(complaint, ()), mean, strengths[complaint])
        after = shrunk(counts[complaint], mean, strengths[complaint])
        weights[complaint] = {cell: share * sum_of_weights for cell, share in after.items()}
        calls[complaint] = sum(n for _, n in seen.get(complaint, ()))
    return Learned(group, calls, dict(strengths), counts, weights)


def _strengths(
    groups: Iterable[Mapping[Complaint, Seen]], parent: Learned
) -> dict[Complaint, float]:
    """By how much groups differ can be told from three on; until then as for all calls."""
    found, listed = {}, list(groups)
    for complaint in COMPLAINTS:
        mean = shared(parent.weights[complaint])
        given = parent.strength[complaint]
        counts = [spread(g[complaint], mean, given) for g in listed if g.get(complaint)]
        found[complaint] = likeliest_strength(counts, mean) if len(counts) > 2 else given
    return found


def _shipped(table: Iterable[Mapping[str, Any]]) -> dict[Complaint, dict[Cell, float]]:
    rows = list(table)
    return {
        complaint: {(r["part"], r["kind"]): r[complaint] for r in rows if r[complaint] > 0}
        for complaint in COMPLAINTS
    }


def _parent(group: str) -> str:
    return group.rpartition(".")[0] or "all"
