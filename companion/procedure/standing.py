"""Where a call stands: everything that "back" and "correction" may undo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import inf
from types import MappingProxyType

from companion.counsel import Complaint, Evidence
from companion.equipment import Equipment, Terminal
from companion.procedure.shapes import Setting
from companion.understood import Answer, Reading

SOUND_SHARE = 0.6
"""Above this share of its least healthy ohms a circuit is not shorted (judgement)."""

_NO_READINGS: Mapping[str, Reading] = MappingProxyType({})
_NO_FINDINGS: Mapping[str, Mapping[str, str]] = MappingProxyType({})
_NO_SETTINGS: Mapping[Setting, str] = MappingProxyType({})


@dataclass(frozen=True)
class Place:
    """A step, and which circuit or test of its list it is about."""

    step: str
    about: str | None = None


@dataclass(frozen=True)
class Standing:
    """An immutable snapshot of a call. What is energized is not in it: that can't be undone."""

    place: Place
    profile: Equipment | None = None
    terminal: str | None = None
    part: str | None = None
    fault: str | None = None
    likeliest: str = ""
    facts: Mapping[str, Reading] = field(default_factory=lambda: _NO_READINGS)
    findings: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: _NO_FINDINGS)
    settings: Mapping[Setting, str] = field(default_factory=lambda: _NO_SETTINGS)
    history: tuple[str, ...] = ()
    accessories: tuple[str, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    mended: tuple[tuple[str | None, str], ...] = ()
    cleared: frozenset[str] = frozenset()
    unfinished: tuple[str, ...] = ()
    parked: Place | None = None
    proved: bool = False

    def found(self, step: str) -> Mapping[str, str]:
        """Verdicts of a step by circuit, in the order they were given."""
        return self.findings.get(step, {})

    def with_finding(self, place: Place, verdict: str) -> Standing:
        """The same, with one verdict added."""
        of_step = {**self.found(place.step), place.about or "": verdict}
        return replace(self, findings={**self.findings, place.step: of_step})

    def without_findings(self, step: str) -> Standing:
        """The same, with a step's list to be gone through anew."""
        return replace(self, findings={k: v for k, v in self.findings.items() if k != step})

    def with_fact(self, name: str, reading: Reading) -> Standing:
        """The same, with a reading kept under a name."""
        return replace(self, facts={**self.facts, name: reading})

    @property
    def mended_circuits(self) -> str | None:
        """Terminals whose circuits were repaired; None if the faults were in none."""
        return " and ".join(dict.fromkeys(t for t, _ in self.mended if t)) or None

    @property
    def mended_parts(self) -> str | None:
        """Parts that were repaired."""
        return " and ".join(dict.fromkeys(part for _, part in self.mended)) or None

    def with_evidence(self, evidence: Evidence) -> Standing:
        """The same, knowing one outcome more."""
        return replace(self, evidence=(*self.evidence, evidence))

    @property
    def with_skipped_open(self) -> Standing:
        """The same, with tests that were passed over to be asked again."""
        return replace(self, evidence=tuple(e for e in self.evidence if e.value is not None))

    @property
    def sides(self) -> tuple[Terminal, ...]:
        """Every terminal of the equipment, R's own side first."""
        return () if self.profile is None else (self.profile.r_side, *self.profile.circuits)

    def side(self, terminal: str | None) -> Terminal | None:
        """What is on a terminal, if the equipment has it."""
        return next((side for side in self.sides if side.terminal == terminal), None)

    @property
    def circuit(self) -> Terminal | None:
        """The circuit named as at fault; None while none is, or if the fault is in none."""
        return self.side(self.terminal)

    @property
    def leads_ohm(self) -> float:
        """Ohms of the meter leads, once they were read."""
        leads = self.facts.get("leads")
        return 0.0 if leads is None or leads.value_si is None else leads.value_si

    @property
    def complaint(self) -> Complaint:
        """What is wrong: the fuse opens, unless it was found whole."""
        return "nothing" if self.settings.get("complaint") == "nothing" else "opens"

    @property
    def unshorted(self) -> frozenset[str]:
        """Terminals that can't be shorted: by their ohms at the board, or because the fuse
        holds."""
        heard = {e.test: e for e in self.evidence}
        found = set()
        for side in self.sides:
            board, based = (f"ohms {side.terminal}-C{h}" for h in (" at the board", ", base on"))
            evidence = heard.get(based, heard.get(board))
            if self.complaint == "nothing" or (evidence is not None and _sound(evidence, side)):
                found.add(side.terminal)
        return frozenset(found)

    @property
    def fuse_may_go_in(self) -> bool:
        """Whether no terminal can be shorted, to common or to chassis, so that the marked fuse is
        at no great risk."""
        heard = {e.test: e for e in self.evidence if e.value is not None}
        low = any(
            test.startswith(f"ohms {side.terminal}-") and not _sound(evidence, side)
            for test, evidence in heard.items()
            for side in self.sides
        )
        return not low and self.unshorted | self.cleared >= {s.terminal for s in self.sides}

    def overloads(self, value: Reading | Answer) -> bool:
        """Whether a reading is of more amps than the board's marking: a fuse opens, or has."""
        if not isinstance(value, Reading) or value.quantity != "current":
            return False
        marked = self.facts.get("marked")
        most = None if marked is None else marked.value_si
        if most is None and self.profile is not None:
            most = self.profile.fuse_ampere
        return most is not None and (value.value_si or 0.0) > most

    @property
    def overloaded(self) -> frozenset[str]:
        """Tests, by name, that read so many, or in which the fuse opened."""
        return frozenset(
            e.test
            for e in self.evidence
            if (e.test.startswith("amps") and e.value is not None and self.overloads(e.value))
            or (isinstance(e.value, Answer) and e.value.name == "trips")
        )

    @property
    def transformer_open(self) -> bool:
        """Whether its primary was read to be fed and its secondary dead, and it is not mended."""
        return self.settings.get("transformer") == "open"

    def setting(self, name: Setting, default: str) -> str:
        """What was chosen, or the usual."""
        return self.settings.get(name, default)


def _sound(evidence: Evidence, side: Terminal) -> bool:
    """Whether ohms of a terminal are none of a short."""
    if not isinstance(evidence.value, Reading):
        return False
    ohm = inf if evidence.value.value_si is None else evidence.value.value_si
    return ohm - evidence.leads_ohm > SOUND_SHARE * side.ohms[0]
