"""The first words of a page: what was wrong, what proves it, what was fitted, what is left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from companion.review.chances import name_of
from companion.review.facts import Counted, Facts
from companion.understood import Reading

READ_BACK = {
    "confirmed": "confirmed",
    "said_twice": "said twice",
    "said_back": "said back",
}
_ENDED = {
    "repaired": "Repaired",
    "found": "Found, not repaired",
    "not_found": "No fault found",
    "unsafe": "Broken off: unsafe",
    "handed_over": "Handed over",
}


@dataclass(frozen=True)
class Telling:
    """The summary, in short lines."""

    headline: str
    state: str
    proof: tuple[str, ...]
    parts: tuple[str, ...]
    left: tuple[str, ...]


def tell(facts: Facts) -> Telling:
    """Sum a call up from its own words."""
    ended = facts.ended
    state = "Not finished" if ended is None else _ENDED[ended.outcome]
    headline = state
    if ended is not None and (ended.part or ended.circuit):
        at = f" on {ended.circuit}" if ended.circuit else ""
        headline = f"{state}: {ended.part or 'a short'}{at}"
    return Telling(headline, state, tuple(_proof(facts)), tuple(_parts(facts)), tuple(_left(facts)))


def value_at(counted: Counted) -> str:
    """A value with where it was taken."""
    return f"{counted.where}: {counted.value}"


def _proof(facts: Facts) -> Iterator[str]:
    if facts.ended is not None and facts.ended.proved:
        yield "Ran under load on a fuse of the board's rating, by the technician's word."
    proving = [v for v in facts.standing_values if v.phase == "prove"]
    last = {v.where: v for v in proving if isinstance(v.value, Reading)}
    yield from map(value_at, last.values())


def _parts(facts: Facts) -> Iterator[str]:
    ended = facts.ended
    if ended is not None and ended.part and ended.outcome == "repaired":
        yield f"{ended.part}: repaired or replaced"
    last = {value.step: value for value in facts.standing_values}
    if "fitted" in last and last["fitted"].verdict == "over":
        yield f"fuse that was in, {last['fitted'].value}: over the board's marking"
    if "new_fuse" in last:
        yield f"fuse, {last['new_fuse'].value}"


def _left(facts: Facts) -> Iterator[str]:
    ended = facts.ended
    if ended is None:
        yield f"The call stands at: {facts.standing.replace('_', ' ')}."
    elif ended.outcome == "repaired" and not ended.proved:
        yield "Not proven under load."
    elif ended.outcome == "found":
        yield "The repair."
    elif ended.outcome in {"unsafe", "handed_over", "not_found"}:
        yield "The fault itself."
    if facts.believed and facts.believed[-1].suspicion.odd:
        yield f"Fits nothing: {', '.join(facts.believed[-1].suspicion.odd)}."
    others = facts.believed[-1].suspicion.suspects[1:3] if facts.believed else ()
    for suspect in others:
        if suspect.chance >= 0.05:
            yield f"Not ruled out: {name_of(suspect)} ({suspect.chance:.0%})."
    for _, told in facts.troubles:
        yield f"Record: {told}"
