"""Where a call stands: everything that "back" and "correction" may undo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from companion.counsel import Complaint, Evidence
from companion.equipment import Equipment, Terminal
from companion.procedure.shapes import Setting
from companion.understood import Reading

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
    def transformer_open(self) -> bool:
        """Whether its primary was read to be fed and its secondary dead, and it is not mended."""
        return self.settings.get("transformer") == "open"

    def setting(self, name: Setting, default: str) -> str:
        """What was chosen, or the usual."""
        return self.settings.get(name, default)
