"""How far along its cable a short is, from what was read of it."""

from __future__ import annotations

from math import isinf

from companion.circuit.distance import Run, from_both_ends, to_short
from companion.diagnosis.belief import Belief
from companion.diagnosis.hypotheses import FaultAt
from companion.diagnosis.layout import Layout
from companion.diagnosis.likelihood import Observation
from companion.equipment import Cable, Equipment

SOLID: frozenset[str] = frozenset({"short", "chassis"})
STANDS_OUT = 0.3  # judgement: below this chance a distance would send someone to a sound cable


def how_far(belief: Belief, equipment: Equipment) -> str:
    """The distance to be said, from the board or, where only that was read, from the far end.

    Ohms are taken as net of the leads. A fault of some ohms reads too far: both ends settle it.
    """
    at = _likeliest(belief)
    cable = equipment.cables.get(at.part.removesuffix(" cable")) if at is not None else None
    if at is None or cable is None:
        return "No short along a cable stands out yet, so there's no distance to tell."
    name, t = at.part.removesuffix(" cable"), at.circuits[0]
    run = Run(cable.awg, cable.length_ft[1], cable.temperature_c)
    near, far = _read(belief, name, t)
    if near is not None and far is not None:
        return _between(near, far, cable)
    chassis = at.kind == "chassis" and not _bonded_read(belief, t)
    read = near if near is not None else far
    if read is None:
        return f"Read ohms, C to {t}, at the board first: I take the distance from that."
    words = to_short(read, 0.0, run, through_chassis=chassis).words
    if near is None and "out" in words:
        words = words.replace("out", f"from the {cable.far}", 1)
    return words


def _likeliest(belief: Belief) -> FaultAt | None:
    """The solid short along a cable that stands out, if one does."""
    total: dict[FaultAt, float] = {}
    for hypothesis, chance in zip(belief.predictor.hypotheses, belief.chances, strict=True):
        for at in hypothesis.faults:
            if at.part.endswith(" cable") and at.circuits and at.kind in SOLID:
                total[at] = total.get(at, 0.0) + float(chance)
    if not total:
        return None
    at = max(total, key=lambda fault: total[fault])
    return at if total[at] >= STANDS_OUT else None


def _read(belief: Belief, cable: str, t: str) -> tuple[float | None, float | None]:
    """Last ohms of the conductor against common at the near end, and at the far end."""
    predictor = belief.predictor
    layout: Layout = predictor.layout
    near: float | None = None
    far: float | None = None
    ends = (layout.end(cable, t), layout.end(cable, "C"))
    for observation in belief.observations:
        test, ohm = predictor.tests[observation.test], _finite(observation)
        if test.measure != "ohms" or ohm is None or f"{cable}.{t}.near" in test.setup.lifted:
            continue
        if test.at in {(t, "C"), (t, "GND")} and not test.setup.base_on:
            near = ohm
        elif test.at == ends:
            far = ohm
    return near, far


def _bonded_read(belief: Belief, t: str) -> bool:
    """Whether the conductor was read against common, where chassis and common are one."""
    tests = belief.predictor.tests
    return any(tests[o.test].at == (t, "C") for o in belief.observations)


def _finite(observation: Observation) -> float | None:
    value = observation.outcome
    return None if not isinstance(value, float) or isinf(value) else value


def _between(near: float, far: float, cable: Cable) -> str:
    """From both ends the fault's own ohms drop out; what is left is the cable's length."""
    least, most = (from_both_ends(near, far, Run(cable.awg, length, cable.temperature_c))[0]
                   for length in cable.length_ft)  # fmt: skip
    low, high = max(0.0, least), min(cable.length_ft[1], most)
    return f"Between {round(low / 5) * 5:g} and {round(high / 5) * 5:g} feet out, by both ends."
