"""Equipment put together on the spot: accessories fitted to it, or made of what is landed."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from pydantic import Field, ValidationError, model_validator

from companion.datafiles import Shape, folder, load
from companion.equipment import Cable, Circuit, Equipment, Joint
from companion.errors import DataFileError
from companion.loads import Load

NOT_CALLS = frozenset({"R", "Rc", "Rh", "C", "L"})  # supply, return, and a lamp's line


class Accessory(Shape):
    """Something fitted beside the equipment, in one of three ways.

    ``joint`` breaks the first of the terminals in ``breaks`` that the equipment has;
    ``circuit`` is a terminal of its own, on a cable of its own if ``cable`` is given;
    ``always`` hangs on R all the time.
    """

    id: str
    title: str
    source: str
    breaks: tuple[str, ...] = ()
    joint: Joint | None = None
    circuit: Circuit | None = None
    cable: Cable | None = None
    always: Load | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Accessory:
        ways = [self.joint, self.circuit, self.always]
        if sum(way is not None for way in ways) != 1:
            raise ValueError("expected one of 'joint', 'circuit' and 'always'")
        if (self.joint is not None) != bool(self.breaks):
            raise ValueError("expected 'breaks' with 'joint', and only with it")
        return self


class Landing(Shape):
    """``landed.toml``: what usually hangs on each letter, where nobody knows better."""

    equipment: Equipment
    either: tuple[tuple[str, str], ...] = Field(default=())


@cache
def accessories() -> dict[str, Accessory]:
    """The shipped accessories by id.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    found: dict[str, Accessory] = {}
    for path in sorted((folder("dialogs") / "accessories").glob("*.toml")):
        accessory = load(path, Accessory)
        if accessory.id in found:
            raise DataFileError(path, "id", f"expected an id of its own, got {accessory.id!r}")
        found[accessory.id] = accessory
    return found


def fit(equipment: Equipment, *names: str, breaks: str | None = None) -> Equipment:
    """The equipment with accessories, in the order given.

    Args:
        equipment: as it is without them; it stays as it was.
        names: ids of ``dialogs/accessories``.
        breaks: the terminal whose wire a switch is in, where it is known.

    Raises:
        KeyError: no such accessory, or the equipment has no terminal that it could break.
        ValueError: the terminal is taken already.
    """
    for name in names:
        equipment = _fitted(equipment, accessories()[name], breaks)
    return equipment


def _fitted(equipment: Equipment, accessory: Accessory, breaks: str | None) -> Equipment:
    update: dict[str, object] = {"id": f"{equipment.id}+{accessory.id}"}
    if accessory.joint is not None:
        on = breaks or next((t for t in accessory.breaks if _has(equipment, t)), None)
        if on is None:
            raise KeyError(f"{equipment.id} has none of {', '.join(accessory.breaks)}")
        wire = equipment.circuit(on)
        joints = {"joints": (accessory.joint, *getattr(wire, "joints", ()))}
        if on == "R":
            update["r_side"] = equipment.r_side.model_copy(update=joints)
        else:
            update["circuits"] = tuple(
                c.model_copy(update=joints) if c.terminal == on else c for c in equipment.circuits
            )
    elif accessory.always is not None:
        on_r = (*equipment.r_side.loads, accessory.always)
        update["r_side"] = equipment.r_side.model_copy(update={"loads": on_r})
    elif accessory.circuit is not None:
        if _has(equipment, accessory.circuit.terminal):
            raise ValueError(f"{accessory.circuit.terminal} is taken on {equipment.id}")
        update["circuits"] = (*equipment.circuits, accessory.circuit)
        if accessory.cable is not None and accessory.circuit.cable is not None:
            update["cables"] = {**equipment.cables, accessory.circuit.cable: accessory.cable}
    return Equipment.model_validate(equipment.model_copy(update=update).model_dump())


def _has(equipment: Equipment, terminal: str) -> bool:
    return terminal == "R" or any(c.terminal == terminal for c in equipment.circuits)


@cache
def _landing() -> Landing:
    return load(folder("dialogs") / "landed.toml", Landing)


def landable() -> tuple[str, ...]:
    """Terminals that ``from_terminals`` knows a load for."""
    return tuple(circuit.terminal for circuit in _landing().equipment.circuits)


def from_terminals(terminals: Sequence[str]) -> Equipment:
    """Equipment made of what is landed on the board: loads guessed by family, spans wide.

    Supply, return and lamp line (R, Rc, Rh, C, L) may be among them and add no circuit.

    Raises:
        KeyError: a terminal that nothing is known of.
        ValueError: two that can't both be landed, or none that calls anything.
    """
    landing = _landing()
    calls = [t for t in dict.fromkeys(terminals) if t not in NOT_CALLS]
    known = {c.terminal: c for c in landing.equipment.circuits}
    for one, other in landing.either:
        if one in calls and other in calls:
            raise ValueError(f"{one} and {other} are not landed on one board")
    if not calls:
        raise ValueError("expected a terminal that calls something")
    wanted = {known[t].terminal for t in calls}
    circuits = [circuit for t, circuit in known.items() if t in wanted]
    used = {"thermostat", *(c.cable for c in circuits)}
    whole = landing.equipment.model_dump() | {
        "id": f"landed-{'-'.join(c.terminal for c in circuits)}",
        "title": f"equipment with {', '.join(c.terminal for c in circuits)}",
        "cables": {n: c.model_dump() for n, c in landing.equipment.cables.items() if n in used},
        "circuits": [c.model_dump() for c in circuits],
    }
    try:
        return Equipment.model_validate(whole)
    except ValidationError as error:  # pragma: no cover - the shipped file is checked when loaded
        raise DataFileError("landed.toml", "equipment", str(error)) from error
