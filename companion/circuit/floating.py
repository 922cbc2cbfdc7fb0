"""Why a network has no one solution, in words that point at wires."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def groups(nodes: Sequence[str], ties: Iterable[tuple[str, str]]) -> list[set[str]]:
    """Nodes that hang together, in order of first mention."""
    of = {node: {node} for node in nodes}
    for a, b in ties:
        if of[a] is not of[b]:
            of[a] |= of[b]
            for node in of[b]:
                of[node] = of[a]
    seen: list[set[str]] = []
    for node in nodes:
        if not any(of[node] is group for group in seen):
            seen.append(of[node])
    return seen


def why_singular(
    nodes: Sequence[str],
    ties: Sequence[tuple[str, str]],
    sources: Sequence[tuple[str, str, complex]],
    reference: str,
) -> str | None:
    """What makes the network singular; None if its shape does not.

    Two shapes do: nodes that nothing joins to the reference, and ideal sources in a ring.
    """
    adrift = [g for g in groups(nodes, ties) if reference not in g]
    if adrift:
        names = ", ".join(sorted(adrift[0])[:4])
        return (
            f"Nothing joins {names} to {reference}: a lifted wire, or an open at both ends. "
            "Its voltage is whatever the air gives it; a meter reads OL or a ghost."
        )
    trees: dict[str, set[str]] = {node: {node} for node in nodes}
    for plus, minus, _ in sources:
        if trees[plus] is trees[minus]:
            return (
                f"Sources drive {plus} and {minus} against each other with nothing between: "
                "two transformers in parallel, or a source across a bolted short."
            )
        trees[plus] |= trees[minus]
        for node in trees[minus]:
            trees[node] = trees[plus]
    return None
