"""What was heard of tests: replacing a reading, and when a change of belief is worth a sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from companion.counsel import Evidence, TestCard
from companion.messages import Style, Suspect, Suspicion
from companion.quantities import Quantity
from companion.understood import Reading

WORTH_SAYING = (0.6, 0.9, 0.99)
"""Chances of the leading part that are told when they are passed."""
NOTHING_SI: Mapping[Quantity, float] = {"voltage": 1.0, "current": 0.05}
"""Below this a meter shows nothing (judgement: some counts, and what a lead picks up)."""


def by_part(suspicion: Suspicion) -> list[Suspect]:
    """One suspect a part, likeliest first, with the chance that it is at fault in any way."""
    found: dict[str, Suspect] = {}
    for suspect in suspicion.suspects:
        first = found.get(suspect.part)
        chance = suspect.chance + (0.0 if first is None else first.chance)
        found[suspect.part] = (first or suspect).model_copy(update={"chance": min(1.0, chance)})
    return sorted(found.values(), key=lambda suspect: -suspect.chance)


def leading(suspicion: Suspicion) -> Suspect | None:
    """The likeliest part, if any."""
    return next(iter(by_part(suspicion)), None)


def worth_saying(before: Suspicion, after: Suspicion, style: Style) -> bool:
    """Whether a reading changed so much that the technician should hear of it."""
    first, now = leading(before), leading(after)
    if now is None or not after.words:
        return False
    was = 0.0 if first is None or first.part != now.part else first.chance
    passed = any(was < mark <= now.chance for mark in WORTH_SAYING)
    return passed or bool(set(after.odd) - set(before.odd)) or style == "explain"


def in_doubt(heard: Sequence[Evidence], cards: Mapping[str, TestCard]) -> str | None:
    """Where the last reading was of nothing, and nothing that was read with the same call on tells
    that the fuse holds: the test of whether that call opens one."""
    call = _call(heard[-1], cards) if heard else None
    if call is None or not _nothing(heard[-1]):
        return None
    told = [e for e in heard if e.test == call or (_call(e, cards) == call and not _nothing(e))]
    return None if any(e.value is not None for e in told) else call


def _call(evidence: Evidence, cards: Mapping[str, TestCard]) -> str | None:
    card = cards.get(evidence.test)
    return None if card is None else card.opens


def _nothing(evidence: Evidence) -> bool:
    value = evidence.value
    if not isinstance(value, Reading):
        return False
    return (value.value_si or 0.0) < NOTHING_SI.get(value.quantity, 0.0)


@dataclass(frozen=True)
class Revised:
    """Evidence with one reading in another's place."""

    evidence: tuple[Evidence, ...]
    test: str
    old: Reading


def revised(
    heard: Sequence[Evidence], cards: Mapping[str, TestCard], at: str, reading: Reading
) -> Revised | None:
    """The last reading of its kind at a terminal, replaced; None if there is none."""
    for index in reversed(range(len(heard))):
        old, card = heard[index].value, cards.get(heard[index].test)
        if card is None or card.terminal != at or not isinstance(old, Reading):
            continue
        if old.quantity == reading.quantity:
            # A revision counts only once it was confirmed, whatever it replaces.
            new = heard[index].model_copy(update={"value": reading, "confirmed": True})
            return Revised((*heard[:index], new, *heard[index + 1 :]), new.test, old)
    return None


def read_at(heard: Sequence[Evidence], cards: Mapping[str, TestCard]) -> dict[str, Reading]:
    """The latest reading at each terminal."""
    found: dict[str, Reading] = {}
    for evidence in heard:
        card = cards.get(evidence.test)
        if card is not None and card.terminal and isinstance(evidence.value, Reading):
            found[card.terminal] = evidence.value
    return found
