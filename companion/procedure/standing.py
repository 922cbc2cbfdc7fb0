"""Where a call stands: everything that "back" and "correction" may undo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from companion.messages import Reading
from companion.procedure.shapes import Circuit, Coil, Profile

_NO_READINGS: Mapping[str, Reading] = MappingProxyType({})
_NO_FINDINGS: Mapping[str, Mapping[str, str]] = MappingProxyType({})


@dataclass(frozen=True)
class Place:
    """A step, and which circuit or coil of its list it is about."""

    step: str
    about: str | None = None


@dataclass(frozen=True)
class Standing:
    """An immutable snapshot of a call. What is energized is not in it: that can't be undone."""

    place: Place
    profile: Profile | None = None
    terminal: str | None = None
    part: str | None = None
    facts: Mapping[str, Reading] = field(default_factory=lambda: _NO_READINGS)
    findings: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: _NO_FINDINGS)
    parked: Place | None = None
    proved: bool = False

    def found(self, step: str) -> Mapping[str, str]:
        """Verdicts of a step by circuit or coil, in the order they were given."""
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
    def circuit(self) -> Circuit | None:
        """The circuit named as shorted."""
        if self.profile is None or self.terminal is None:
            return None
        return self.profile.circuit(self.terminal)

    def coil(self, name: str | None) -> Coil | None:
        """A coil of the named circuit."""
        coils = () if self.circuit is None else self.circuit.coils
        return next((coil for coil in coils if coil.name == name), None)
