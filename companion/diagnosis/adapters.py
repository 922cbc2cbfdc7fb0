"""The reasoner behind the procedure's two doors: names and verdicts in, a name or verdict out.

``procedure.Walk`` takes a judge ``(rule, reading, known) -> verdict`` and a chooser
``(candidates, findings) -> name | None``. Both are made here for one profile.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import inf

from companion.circuit.coils import NO_SUCH_PART
from companion.circuit.tables import loads
from companion.diagnosis.case import Case, open_case
from companion.diagnosis.choosers import by_gain_per_cost
from companion.diagnosis.equipment import Circuit, Equipment, all_equipment
from companion.diagnosis.hypotheses import ELSE
from companion.diagnosis.judges import SHORTED_TURNS_SHARE, judge
from companion.diagnosis.likelihood import OL
from companion.diagnosis.sweep import fixed_sweep
from companion.diagnosis.tables import Complaint, FaultKind
from companion.messages import Known, Reading

Judge = Callable[[str, Reading, Known], str]
Chooser = Callable[[Sequence[str], Mapping[str, str]], str | None]

LIVE_WORDS = frozenset({"bright", "dim", "dark", "trips", "holds"})
FAR_SHORT_OHM = 2.6  # the longest usual cable out and back, and the fault: see ``judges``
KINDS: dict[str, frozenset[FaultKind]] = {
    "short": frozenset({"short", "chassis", "dead coil"}),
    "low": frozenset({"turns", "leak", "cross", "overload"}),
    "open": frozenset({"open", "joint"}),
}


def chooser_for(profile: str, complaint: Complaint = "opens") -> Chooser:
    """A chooser that asks first what tells most per minute, ohms only.

    Lamp and breaker keep the profile's order, which ends an energized sweep with the
    burner; so does anything that the equipment file has no test for. Every candidate is
    asked in the end, unless the procedure leaves the list.

    Raises:
        KeyError: no such equipment.
    """
    equipment = all_equipment()[profile]

    def choose(candidates: Sequence[str], findings: Mapping[str, str]) -> str | None:
        open_names = [name for name in candidates if name not in findings]
        tests = {name: _test_of(equipment, name) for name in candidates}
        live = LIVE_WORDS & set(findings.values())
        if len(open_names) < 2 or live or None in tests.values():
            return fixed_sweep(candidates, findings)
        case = open_case(profile, complaint)
        for name, verdict in findings.items():
            case = _with_finding(case, equipment, name, tests.get(name), verdict)
        wanted = {str(tests[name]): name for name in open_names}
        best = by_gain_per_cost(case, list(wanted))
        return open_names[0] if best is None else wanted[best]

    return choose


def judge_for(profile: str, complaint: Complaint = "opens") -> Judge:
    """A judge that reads a terminal's ohms by the network; all else by the rules of ``judge``.

    Of what may be wrong on that circuit, the likeliest group of faults is the verdict; where
    nothing known explains the reading better than "something else", the rule judges.

    Raises:
        KeyError: no such equipment.
    """
    known_terminals = {circuit.terminal for circuit in all_equipment()[profile].circuits}

    def judged(rule: str, reading: Reading, known: Known) -> str:
        if rule != "terminal_ohms" or reading.at not in known_terminals:
            return judge(rule, reading, known)
        net = OL if reading.value_si is None else max(0.0, reading.value_si - known.leads_ohm)
        belief = (
            open_case(profile, complaint).heard(f"ohms {reading.at}-C at the board", net).belief
        )
        chances = dict.fromkeys((*KINDS, "fits", ELSE), 0.0)
        for hypothesis, chance in zip(belief.predictor.hypotheses, belief.chances, strict=True):
            verdicts = [v for v, kinds in KINDS.items() if kinds & hypothesis.kinds]
            group = verdicts[0] if reading.at in hypothesis.circuits and verdicts else "fits"
            chances[group if hypothesis.parts else ELSE] += float(chance)
        verdict = max(chances, key=lambda name: chances[name])
        return judge(rule, reading, known) if verdict == ELSE else verdict

    return judged


def _test_of(equipment: Equipment, name: str) -> str | None:
    for circuit in equipment.circuits:
        if name == circuit.terminal:
            return f"ohms {name}-C at the board"
        if name == circuit.load.name:
            return f"ohms, {name} alone"
    return None


def _with_finding(
    case: Case, equipment: Equipment, name: str, test: str | None, verdict: str
) -> Case:
    circuits = [c for c in equipment.circuits if name in {c.terminal, c.load.name}]
    if test is None or not circuits or verdict not in {*KINDS, "fits"}:
        return case
    return case.heard(test, _span(circuits[0], verdict))


def _span(circuit: Circuit, verdict: str) -> tuple[float, float]:
    least, most = circuit.load.ohms or loads().of(circuit.load.family).ohms
    low = SHORTED_TURNS_SHARE * least
    short = min(FAR_SHORT_OHM, low)
    top = NO_SUCH_PART * max(most, circuit.board_ohm or 0.0)
    return {"short": (0.0, short), "low": (short, low), "fits": (low, top), "open": (top, inf)}[
        verdict
    ]
