"""The reasoner as the procedure knows it: cards, the next test, what is believed, and sums."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Mapping, Sequence
from functools import cached_property
from threading import Thread

from companion.circuit.supply import va_budget
from companion.counsel import Evidence, TestCard
from companion.diagnosis.cards import card, outcome
from companion.diagnosis.case import Case, open_case
from companion.diagnosis.choosers import by_plan
from companion.diagnosis.heap import give_back
from companion.diagnosis.hypotheses import ELSE
from companion.diagnosis.judges import judge
from companion.diagnosis.likelihood import OL
from companion.diagnosis.stopping import verdict as stop
from companion.diagnosis.tabled import tables
from companion.diagnosis.tables import Complaint, FaultKind
from companion.diagnosis.whereabouts import how_far
from companion.diagnosis.wording import believed, suspects
from companion.equipment import Equipment
from companion.expected import Known
from companion.messages import Suspicion
from companion.understood import Reading

KEPT = 256  # suspicions of one call that are kept: as many turns back
KEPT_CASES = 4  # each some three megabytes on the largest equipment; what is older is folded anew
KINDS: dict[str, frozenset[FaultKind]] = {
    "short": frozenset({"short", "chassis", "dead coil"}),
    "low": frozenset({"turns", "leak", "cross", "overload"}),
    "open": frozenset({"open", "joint"}),
}


class Advisor:
    """Counsel (see ``companion.counsel``) on one installation and one complaint.

    Every answer is a function of the evidence alone. What was worked out for a shorter run of
    evidence is kept and gone on from.

    Args:
        equipment: what is installed.
        complaint: the fuse opens, or nothing answers though the fuse is whole.
        history: names of history entries of ``priors.toml``.

    Raises:
        KeyError: no such history entry.
        DataFileError: a data file is at fault.
    """

    def __init__(
        self, equipment: Equipment, complaint: Complaint = "opens", history: Sequence[str] = ()
    ) -> None:
        self._equipment = equipment
        self._start = open_case(equipment, complaint, history)
        self._cases: OrderedDict[tuple[Evidence, ...], Case] = OrderedDict()
        self._suspicions: OrderedDict[tuple[Evidence, ...], Suspicion] = OrderedDict()
        self._thread: Thread | None = None

    def prepare(self) -> None:
        """Solve the networks in the background; whoever asks first waits for it."""
        if self._thread is None:
            self._thread = Thread(target=self._solve, name="networks", daemon=True)
            self._thread.start()

    def _solve(self) -> None:
        tables(self._start)
        give_back()  # solving took up tens of megabytes for a moment

    def _ready(self) -> None:
        if self._thread is not None:
            self._thread.join()

    @cached_property
    def _cards(self) -> Mapping[str, TestCard]:
        tests = self._start.belief.predictor.tests.values()
        return {test.name: card(test, self._equipment, tests) for test in tests}

    def cards(self) -> Mapping[str, TestCard]:
        """Every test that it can reason about, by name."""
        return self._cards

    def case(self, heard: Sequence[Evidence]) -> Case:
        """Belief and standing after the evidence.

        Raises:
            KeyError: a test that is none of the cards.
        """
        self._ready()
        whole = tuple(heard)
        if whole in self._cases:
            self._cases.move_to_end(whole)
            return self._cases[whole]
        if not whole:
            return self._start
        before, last = self.case(whole[:-1]), whole[-1]
        self._cases[whole] = self._after(before, last)
        while len(self._cases) > KEPT_CASES:
            self._cases.popitem(last=False)
        return self._cases[whole]

    def _after(self, case: Case, last: Evidence) -> Case:
        test = case.belief.predictor.tests[last.test]
        if last.value is None:
            return case.refuse(last.test)
        found = outcome(test, last.value, last.leads_ohm, self._equipment)
        if found is None:
            return case.refuse(last.test)
        return case.heard(last.test, found, confirmed=last.confirmed)

    def next(self, heard: Sequence[Evidence], allowed: Collection[str]) -> str | None:
        """The test that buys most for the effort; None when enough is known or none would tell."""
        case = self.case(heard)
        name = by_plan(case, [n for n in self.cards() if n in set(allowed)])
        return None if name is None or stop(case, name).enough else name

    def suspicion(self, heard: Sequence[Evidence]) -> Suspicion:
        """What it believes now, and what does not fit."""
        case, whole = self.case(heard), tuple(heard)
        if whole in self._suspicions:
            return self._suspicions[whole]
        belief = case.belief
        listed = suspects(belief)
        odd = [i for i in range(len(belief.observations)) if belief.wrong(i) > 0.5]
        best = by_plan(case, list(self.cards()))
        found = Suspicion(
            suspects=listed[:5],
            odd=tuple(belief.observations[i].test for i in odd),
            enough=stop(case, best).enough,
            words=believed(belief, listed, odd),
        )
        self._suspicions[whole] = found
        while len(self._suspicions) > KEPT:
            self._suspicions.popitem(last=False)
        return found

    def verdict(self, rule: str, reading: Reading, known: Known) -> str:
        """What a reading is by itself: a terminal's ohms by the network, all else by ``judge``.

        Of what may be wrong on that circuit, the likeliest group of faults is the verdict; where
        nothing known explains the reading better than "something else", the rule judges.

        Raises:
            KeyError: there is no such rule.
            ValueError: the rule lacks what it rests on.
        """
        test = f"ohms {reading.at}-C at the board"
        if rule != "terminal_ohms" or reading.at == "R" or test not in self.cards():
            return judge(rule, reading, known)
        self._ready()
        net = OL if reading.value_si is None else max(0.0, reading.value_si - known.leads_ohm)
        belief = self._start.heard(test, net).belief
        chances = dict.fromkeys((*KINDS, "fits", ELSE), 0.0)
        for hypothesis, chance in zip(belief.predictor.hypotheses, belief.chances, strict=True):
            groups = [v for v, kinds in KINDS.items() if kinds & hypothesis.kinds]
            group = groups[0] if reading.at in hypothesis.circuits and groups else "fits"
            chances[group if hypothesis.parts else ELSE] += float(chance)
        likeliest = max(chances, key=lambda name: chances[name])
        return judge(rule, reading, known) if likeliest == ELSE else likeliest

    def how_far(self, heard: Sequence[Evidence]) -> str:
        """Distance to the short, to be said; or why it can't be told."""
        return how_far(self.case(heard).belief, self._equipment)

    def should_read(self, name: str) -> str:
        """Healthy ohms of a terminal or part, to be said, with what they rest on."""
        equipment = self._equipment
        sides = [equipment.r_side, *equipment.circuits]
        for side in sides:
            if name == side.terminal:
                where = f"{side.terminal}, {side.function}"
                return _healthy(where, side.ohms, side.ohms_source)
        for load in [part for side in sides for part in side.coils]:
            if name == load.name:
                return _healthy(f"The {load.name} alone", load.ohms, load.ohms_source)
        return f"I don't know what {name} should read here. Read its label."

    def can_carry(self, more_ampere: float) -> str:
        """Whether the transformer carries all calls and so much more, to be said."""
        equipment = self._equipment
        volt = 24.0
        always = {load.name: load.kind.sealed_va for load in equipment.r_side.loads}
        if more_ampere > 0:
            always["more"] = (more_ampere * volt, more_ampere * volt)
        budgets = []
        for season in _seasons(equipment):
            calls = {c.load.name: c.load.kind.sealed_va for c in equipment.circuits
                     if c.terminal in season}  # fmt: skip
            budgets.append(va_budget(always | calls, equipment.transformer_va))
        worst = max(budgets, key=lambda budget: budget.total_va[1])
        least, most = worst.total_va
        said = {"fits": "It fits", "tight": "Tight", "may overload": "It may overload",
                "overload": "Too much"}[worst.verdict]  # fmt: skip
        return f"{said}: {least:.0f}–{most:.0f} VA of {equipment.transformer_va:g} VA."


def counsel_for(
    equipment: Equipment, complaint: Complaint = "opens", history: Sequence[str] = ()
) -> Advisor:
    """The reasoner for an installation and a complaint; see ``Advisor``."""
    return Advisor(equipment, complaint, history)


def _healthy(what: str, ohms: tuple[float, float], source: str) -> str:
    origin = source.split(":")[0].split(";")[0].split(",")[0].strip()
    return f"{what}: {_ohms(ohms[0])}–{_ohms(ohms[1])} Ω. {origin.capitalize()}."


def _ohms(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def _seasons(equipment: Equipment) -> list[set[str]]:
    """Calls that may coincide: heating and cooling apart, unless a heat pump has both at once."""
    fed = {c.terminal for c in equipment.circuits}
    if fed & {"O", "B"}:
        return [fed]
    return [{t for t in fed if t[0] != "W" and t != "E"}, {t for t in fed if t[0] != "Y"}]
