"""Holding a value against a step's outcomes, with the judge's verdict where the step has one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from companion.messages import Answer, Known, Reading
from companion.procedure.checks import spans
from companion.procedure.prompts import circuit_at
from companion.procedure.shapes import Circuit, Outcome, Procedure
from companion.procedure.standing import Place, Standing

Judge = Callable[[str, Reading, Known], str]


@dataclass(frozen=True)
class Weighed:
    """A value, the place it is about, and what it would lead to."""

    place: Place
    value: Reading | Answer
    outcome: Outcome
    verdict: str | None


def weigh(
    value: Reading | Answer,
    place: Place,
    standing: Standing,
    procedure: Procedure,
    judge: Judge,
) -> Weighed:
    """The outcome that a value has at a place."""
    step = procedure.steps[place.step]
    verdict = None
    if isinstance(value, Reading) and step.judge is not None:
        verdict = judge(step.judge, value, known_at(standing, procedure, place))
    for outcome in step.outcomes:
        if _applies(outcome, value, verdict):
            return Weighed(place, value, outcome, verdict)
    raise AssertionError(f"{place.step}: no outcome for {value}; the checks let this through")


def known_at(standing: Standing, procedure: Procedure, place: Place) -> Known:
    """What a verdict about this place rests on."""
    facts, profile = standing.facts, standing.profile
    known = Known(
        leads_ohm=_value(facts.get("leads")) or 0.0,
        marked_ampere=_value(facts.get("marked")),
    )
    coil = standing.coil(place.about)
    part: Circuit | None = circuit_at(standing, procedure, place)
    ohms = coil.ohms if coil is not None else part.ohms if part is not None else None
    update: dict[str, object] = {} if ohms is None else {"ohms": ohms}
    if profile is not None:
        update |= {
            "cable_awg": profile.cable.awg,
            "cable_ft": profile.cable.length_ft,
            "cable_c": profile.cable.temperature_c,
        }
    return known.model_copy(update=update)


def _applies(outcome: Outcome, value: Reading | Answer, verdict: str | None) -> bool:
    if isinstance(value, Answer):
        return outcome.answer == value.name
    if verdict is not None:
        return outcome.verdict == verdict
    if value.value_si is None:
        return outcome.over_limit
    return spans(outcome, value.value_si)


def _value(reading: Reading | None) -> float | None:
    return None if reading is None else reading.value_si
