"""What hangs on which wire, as far as a drawing needs it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from companion.review.facts import Facts

_FOLDERS = ("equipment",)


class _Loose(BaseModel):
    """Only what is drawn: the rest of these files is for others, and checked there."""

    model_config = ConfigDict(frozen=True, extra="ignore")


class Part(_Loose):
    """A joint on the way, or the load at the end."""

    name: str
    kind: str = ""
    outdoor: bool = False


class Cable(_Loose):
    """Where a cable runs."""

    outdoor: bool = False


class Circuit(_Loose):
    """One terminal and what it feeds, in order from the board."""

    terminal: str
    function: str = ""
    cable: str | None = None
    joints: tuple[Part, ...] = ()
    load: Part | None = None


class Installation(_Loose):
    """One kind of equipment."""

    id: str
    title: str = ""
    answer: str = ""
    cables: dict[str, Cable] = {}
    circuits: tuple[Circuit, ...] = Field(min_length=1)

    def part_kinds(self) -> dict[str, str]:
        """The kind of each part, as ``priors.toml`` counts them."""
        kinds = {"thermostat cable": "thermostat cable"}
        for name, cable in self.cables.items():
            if name != "thermostat":
                outdoor = cable.outdoor or name == "outdoor"
                kinds[f"{name} cable"] = "outdoor cable" if outdoor else "indoor cable"
        for circuit in self.circuits:
            kinds |= {joint.name: joint.kind for joint in circuit.joints}
            if circuit.load is not None:
                outdoor = circuit.load.outdoor or circuit.cable == "outdoor"
                kinds[circuit.load.name] = "load outdoors" if outdoor else "load indoors"
        return kinds


def installation_of(facts: Facts, dialogs: Path) -> Installation:
    """The installation of a call: the one that its record names, else only what it speaks of."""
    wanted = facts.profile
    for known in installations(dialogs):
        if wanted is not None and wanted in {known.id, known.answer}:
            return known
    return _spoken_of(facts)


def installations(dialogs: Path) -> Iterator[Installation]:
    """Every kind of equipment that the dialogs describe."""
    found: dict[str, dict[str, Any]] = {}
    for folder in _FOLDERS:
        for path in sorted((dialogs / folder).glob("*.toml")):
            said = tomllib.loads(path.read_text(encoding="utf-8"))
            kept = found.setdefault(said.get("id", path.stem), {})
            circuits = {c["terminal"]: c for c in kept.get("circuits", ())}
            for circuit in said.get("circuits", ()):
                terminal = circuit["terminal"]
                circuits[terminal] = {**circuits.get(terminal, {}), **circuit}
            kept.update(said, circuits=list(circuits.values()))
    for said in found.values():
        drawn = [c for c in said["circuits"] if c["terminal"] != "R"]
        yield Installation.model_validate({**said, "circuits": drawn})


def _spoken_of(facts: Facts) -> Installation:
    """Terminals that were measured or suspected, with the part that was named."""
    named = [c.about for c in facts.counted if c.about and c.about.isupper()]
    named += [s.terminal for b in facts.believed for s in b.suspicion.suspects if s.terminal]
    part = facts.ended.part if facts.ended else None
    if facts.ended is not None and facts.ended.circuit:
        named.append(facts.ended.circuit)
    at = facts.ended.circuit if facts.ended else None
    circuits = tuple(
        Circuit(terminal=t, load=Part(name=part if part and t == at else "load"))
        for t in dict.fromkeys(named)
        if t != "R"
    )
    return Installation(id="", circuits=circuits or (Circuit(terminal="?"),))
