"""What hangs on which wire: the shapes of ``dialogs/circuit/equipment/*.toml``."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import Field, model_validator

from companion.circuit.shapes import Positive, Shape, Span
from companion.circuit.tables import loads, place
from companion.datafiles import load
from companion.errors import DataFileError


class Cable(Shape):
    """A cable from the board; ``far`` is the place of its other end."""

    awg: int = Field(ge=10, le=26)
    length_ft: Span
    temperature_c: float = Field(ge=-40.0, le=90.0)
    far: str


class Joint(Shape):
    """Something in series on the way to a load, at the far end of its cable."""

    name: str
    kind: Literal["splice", "switch"]


class Load(Shape):
    """What a terminal feeds; ``family`` is one of ``loads.toml``, ``ohms`` its own label."""

    name: str
    family: str
    ohms: Span | None = None


class Circuit(Shape):
    """From a terminal to its load and back to common."""

    terminal: str
    board_ohm: Positive | None = None
    cable: str | None = None
    load: Load
    joints: tuple[Joint, ...] = ()


class Equipment(Shape):
    """One installation as a network; ``id`` is that of its profile."""

    id: str
    transformer_va: Positive
    fuse_ampere: Positive
    source: str
    cables: dict[str, Cable]
    circuits: tuple[Circuit, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _hangs_together(self) -> Equipment:
        if "thermostat" not in self.cables:
            raise ValueError("expected a cable 'thermostat'")
        terminals = [c.terminal for c in self.circuits]
        if len(set(terminals)) != len(terminals) or {"R", "C"} & set(terminals):
            raise ValueError("expected each terminal once, and neither R nor C among them")
        for circuit in self.circuits:
            if circuit.cable is not None and circuit.cable not in self.cables:
                raise ValueError(f"circuit {circuit.terminal}: no cable {circuit.cable!r}")
            if circuit.cable is None and circuit.joints:
                raise ValueError(f"circuit {circuit.terminal}: joints need a cable to be on")
        return self

    def circuit(self, terminal: str) -> Circuit:
        """The circuit on a terminal.

        Raises:
            KeyError: this equipment has no such terminal.
        """
        for circuit in self.circuits:
            if circuit.terminal == terminal:
                return circuit
        raise KeyError(terminal)


def read_equipment(path: Path) -> Equipment:
    """Load a file and check it against the load families.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    equipment = load(path, Equipment)
    known = {family.name for family in loads().family}
    for index, circuit in enumerate(equipment.circuits):
        if circuit.load.family not in known:
            key = f"circuits.{index}.load.family"
            raise DataFileError(path, key, f"expected one of {sorted(known)}")
    return equipment


@cache
def all_equipment() -> dict[str, Equipment]:
    """Every shipped installation by the id of its profile.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    found: dict[str, Equipment] = {}
    for path in sorted(place("equipment").glob("*.toml")):
        equipment = read_equipment(path)
        if equipment.id in found:
            raise DataFileError(path, "id", f"expected an id of its own, got {equipment.id!r}")
        found[equipment.id] = equipment
    return found
