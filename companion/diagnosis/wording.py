"""What the reasoner says, in about a dozen words."""

from __future__ import annotations

from collections.abc import Sequence

from companion.diagnosis.belief import Belief
from companion.diagnosis.hypotheses import ELSE, FaultAt
from companion.diagnosis.tables import FaultKind
from companion.messages import Suspect

# In which way a part fails, as the technician would say it.
FAULT: dict[FaultKind, str] = {
    "short": "short", "chassis": "short to chassis", "leak": "leak", "open": "open",
    "cross": "short between circuits", "joint": "high joint", "dead coil": "short",
    "turns": "shorted turns", "overload": "overload", "wrong rating": "wrong rating",
    "history": "nothing now", "swapped": "swapped", "comes and goes": "comes and goes",
}  # fmt: skip
UNKNOWN = "unknown"
NEXT_WORTH_SAYING = 0.02
SHORTS = {"short", "short to chassis"}


def suspects(belief: Belief) -> tuple[Suspect, ...]:
    """Parts with their fault and terminal, likeliest first; of two at once, each by itself."""
    chances: dict[tuple[str, str, str | None], float] = {}
    for hypothesis, chance in zip(belief.predictor.hypotheses, belief.chances, strict=True):
        for at in hypothesis.faults or (FaultAt(ELSE, "history", ()),):
            fault = FAULT[at.kind] if hypothesis.faults else UNKNOWN
            key = (at.part, fault, at.circuits[0] if at.circuits else None)
            chances[key] = chances.get(key, 0.0) + float(chance)
    ranked = sorted(chances.items(), key=lambda item: (-item[1], item[0][0], str(item[0][2])))
    return tuple(
        Suspect(part=part, fault=fault, terminal=terminal, chance=min(1.0, chance))
        for (part, fault, terminal), chance in ranked
        if chance > 1e-4
    )


def _surely(chance: float) -> str:
    for least, word in ((0.99, "Almost surely"), (0.9, "Very likely"), (0.6, "Likely")):
        if chance >= least:
            return word
    return "Perhaps"


def believed(belief: Belief, listed: Sequence[Suspect], odd: Sequence[int]) -> str:
    """What is believed now; where a reading fits nothing, that instead."""
    if odd:
        single = bool(listed) and listed[0].fault in SHORTS
        which = _when(odd[-1], len(belief.observations))
        return (
            f"That doesn't fit any single {'short' if single else 'fault'}; {which} is the odd one."
        )
    top = max(zip(belief.chances, belief.predictor.hypotheses, strict=True), key=lambda p: p[0])
    chance, hypothesis = float(top[0]), top[1]
    if not hypothesis.faults:
        return "None of the faults I know fits these readings."
    if len(hypothesis.faults) > 1:
        both = " and ".join(f"{at.part}{_on(at.circuits)}" for at in hypothesis.faults)
        return f"{_surely(chance)} two faults: {both}."
    part = hypothesis.faults[0].part
    if part == "none now":
        return f"{_surely(belief.by_part()[part])} nothing is wrong now; it may come and go."
    where = _on(hypothesis.faults[0].circuits)
    said = f"{_surely(belief.by_part()[part])} the {part}{where}"
    others = [s for s in listed if s.part != part and s.chance >= NEXT_WORTH_SAYING]
    return f"{said}; the {others[0].part} is next." if others else f"{said}."


def _on(circuits: Sequence[str]) -> str:
    return f" on {' and '.join(circuits)}" if circuits else ""


def _when(index: int, count: int) -> str:
    back = count - 1 - index
    names = ("the last reading", "the reading before last")
    return names[back] if back < len(names) else f"the reading {back} back"
