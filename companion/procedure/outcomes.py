"""What a value that counts changes in where a call stands."""

from __future__ import annotations

from dataclasses import replace

from companion.fitting import fit, from_terminals
from companion.procedure.library import Library
from companion.procedure.shapes import SWEPT, Outcome, Step
from companion.procedure.standing import Standing
from companion.procedure.weighing import Weighed
from companion.understood import Answer, Reading


def standing_after(weighed: Weighed, standing: Standing, step: Step, library: Library) -> Standing:
    """The standing once a value counts, still at the place that it is about."""
    place, outcome = weighed.place, weighed.outcome
    standing = replace(standing, place=place)
    if weighed.verdict is not None or step.each in SWEPT:
        standing = standing.with_finding(place, weighed.verdict or str(outcome.answer))
    if step.keeps is not None and isinstance(weighed.value, Reading):
        standing = standing.with_fact(step.keeps, weighed.value)
    if weighed.evidence is not None:
        standing = standing.with_evidence(weighed.evidence)
    if outcome.mends:
        standing = _mended(standing)
    if outcome.asks_skipped:
        standing = standing.with_skipped_open
    standing = _equipped(weighed.value, outcome, standing, library)
    return replace(
        standing,
        settings={**standing.settings, **outcome.sets},
        proved=standing.proved or outcome.proves,
        part=outcome.part or standing.part,
        fault=outcome.fault or standing.fault,
    )


def _mended(standing: Standing) -> Standing:
    """Once a part is repaired, what was read of its circuit no longer holds."""
    return replace(
        standing,
        mended=(*standing.mended, (standing.terminal, standing.part or "circuit")),
        cleared=standing.unshorted - {standing.terminal or ""},
        evidence=(),
        settings={k: v for k, v in standing.settings.items() if k not in {"transformer", "fuse"}},
    )


def fits(value: Reading | Answer, outcome: Outcome, standing: Standing) -> bool:
    """Whether the equipment or accessory that a value chooses can be."""
    try:
        if isinstance(value, Answer) and value.terminals:
            from_terminals(value.terminals)
        if outcome.accessory is not None and standing.profile is not None:
            fit(standing.profile, outcome.accessory)
    except (KeyError, ValueError):
        return False
    return True


def _equipped(
    value: Reading | Answer, outcome: Outcome, standing: Standing, library: Library
) -> Standing:
    if outcome.profile is not None:
        standing = replace(standing, profile=library.equipment[outcome.profile])
    if isinstance(value, Answer) and value.terminals:
        standing = replace(standing, profile=from_terminals(value.terminals))
    if outcome.history is not None:
        standing = replace(standing, history=(*standing.history, outcome.history))
    if outcome.accessory is not None and outcome.accessory not in standing.accessories:
        assert standing.profile is not None, "accessories are asked for once there is equipment"
        standing = replace(
            standing,
            accessories=(*standing.accessories, outcome.accessory),
            profile=fit(standing.profile, outcome.accessory),
        )
    if outcome.settles:
        about = f"{standing.place.about} "
        left = tuple(text for text in standing.unfinished if not text.startswith(about))
        standing = replace(standing, unfinished=left)
    if outcome.unfinished is not None:
        text = outcome.unfinished.format(
            terminal=standing.place.about or "", part=standing.part or ""
        )
        standing = replace(standing, unfinished=(*standing.unfinished, text))
    return standing
