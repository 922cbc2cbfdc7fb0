"""What a value would lead to: a step's outcomes, with a verdict where the step has a judge."""

from __future__ import annotations

from dataclasses import dataclass, replace

from companion.counsel import Counsel, Evidence
from companion.expected import Known
from companion.messages import Suspicion
from companion.procedure.checks import spans
from companion.procedure.evidence import leading
from companion.procedure.prompts import circuit_at
from companion.procedure.shapes import NEXT, Outcome, Procedure
from companion.procedure.standing import Place, Standing
from companion.understood import Answer, Reading

SURE_ENOUGH_TO_CHECK = 0.9
"""A reading that lifts a part above this is read back and waits for a "yes"."""


@dataclass(frozen=True)
class Weighed:
    """A value, the place it is about, and what it would lead to."""

    place: Place
    value: Reading | Answer
    outcome: Outcome
    verdict: str | None = None
    evidence: Evidence | None = None
    suspicion: Suspicion | None = None


def weigh(
    value: Reading | Answer,
    place: Place,
    standing: Standing,
    procedure: Procedure,
    counsel: Counsel | None,
) -> Weighed:
    """The outcome that a value has at a place; nothing changes yet."""
    step = procedure.steps[place.step]
    if step.each == "tests" and counsel is not None and place.about is not None:
        return _weigh_test(value, place, standing, counsel)
    verdict = None
    if isinstance(value, Reading) and step.judge is not None:
        assert counsel is not None, f"{place.step}: a judge is asked before there is equipment"
        at = value.model_copy(update={"at": value.at or place.about or standing.terminal})
        verdict = counsel.verdict(step.judge, at, known_at(standing, procedure, place))
    for outcome in step.outcomes:
        if _applies(outcome, value, verdict):
            evidence = _evidence(outcome, value, place, standing, counsel)
            return Weighed(place, value, outcome, verdict, evidence)
    raise AssertionError(f"{place.step}: no outcome for {value}; the checks let this through")


def _weigh_test(
    value: Reading | Answer, place: Place, standing: Standing, counsel: Counsel
) -> Weighed:
    assert place.about is not None
    evidence = Evidence(test=place.about, value=value, leads_ohm=standing.leads_ohm)
    first = leading(counsel.suspicion(standing.evidence))
    after = counsel.suspicion((*standing.evidence, evidence))
    now = leading(after)
    sure = now is not None and now.chance >= SURE_ENOUGH_TO_CHECK
    turned = sure and (first is None or now is None or first.part != now.part)
    overload = counsel.cards()[place.about].power == "live" and standing.overloads(value)
    decides = after.enough or turned or overload
    return Weighed(place, value, Outcome(go=NEXT, decides=decides), None, evidence, after)


def confirmed(weighed: Weighed, standing: Standing, counsel: Counsel | None) -> Weighed:
    """The same value once it was said to be right: it is believed more."""
    if weighed.evidence is None or counsel is None:
        return weighed
    evidence = weighed.evidence.model_copy(update={"confirmed": True})
    after = weighed.suspicion and counsel.suspicion((*standing.evidence, evidence))
    return replace(weighed, evidence=evidence, suspicion=after)


def _evidence(
    outcome: Outcome,
    value: Reading | Answer,
    place: Place,
    standing: Standing,
    counsel: Counsel | None,
) -> Evidence | None:
    """A step's value as evidence: of the first of its tests that the reasoner knows."""
    if counsel is None:
        return None
    if outcome.evidence_as is not None:
        value = Answer(name=outcome.evidence_as, said=value.said)
    for test in outcome.evidence:
        name = test.format(terminal=place.about or standing.terminal, about=place.about)
        if name in counsel.cards():
            return Evidence(test=name, value=value, leads_ohm=standing.leads_ohm)
    return None


def known_at(standing: Standing, procedure: Procedure, place: Place) -> Known:
    """What a verdict about this place rests on."""
    facts, profile = standing.facts, standing.profile
    circuit = circuit_at(standing, procedure, place, None)
    known = Known(leads_ohm=standing.leads_ohm, marked_ampere=_value(facts.get("marked")))
    update: dict[str, object] = {} if circuit is None else {"ohms": circuit.ohms}
    if profile is not None:
        update |= {
            "cable_awg": profile.cable.awg,
            "cable_ft": profile.cable.length_ft,
            "cable_c": profile.cable.temperature_c,
            "transformer_va": profile.transformer_va,
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
