"""What could be wrong: every circuit x part x kind, with priors and where they are from."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal, NamedTuple

from companion.diagnosis.layout import Layout
from companion.diagnosis.tables import Complaint, Fault, FaultKind, PartKind, Priors
from companion.equipment import Joint

ELSE = "something else"


@dataclass(frozen=True)
class Change:
    """How a fault alters the network.

    ``join`` puts the fault's own ohms between two nodes; ``into`` puts them in an element's
    place; ``open`` takes an element out; ``turns`` shorts part of a load's turns.
    ``base_on`` limits it to when the thermostat sits on its base; ``within`` to when the
    element that it sits in has not been taken apart.
    """

    how: Literal["join", "into", "open", "turns"]
    at: tuple[str, str] | str
    ohms: str = "short"
    base_on: bool = False
    within: str | None = None


class FaultAt(NamedTuple):
    """One fault: the part, how it fails, and the terminals concerned."""

    part: str
    kind: FaultKind
    circuits: tuple[str, ...]


@dataclass(frozen=True)
class Hypothesis:
    """One state that the installation may be in.

    Args:
        name: unique.
        parts: what would have to be repaired; empty for "something else".
        circuits: the terminals concerned.
        kinds: of part and of fault.
        weight: prior, the whole list summing to 1.
        source: where the weight is from.
        faults: one by one.
    """

    name: str
    parts: frozenset[str]
    circuits: frozenset[str]
    part_kinds: frozenset[PartKind]
    kinds: frozenset[FaultKind]
    changes: tuple[Change, ...]
    weight: float
    source: str
    faults: tuple[FaultAt, ...] = ()


@dataclass(frozen=True)
class _Instance:
    part: str
    circuits: tuple[str, ...]
    changes: tuple[Change, ...]


def hypotheses(
    layout: Layout,
    table: Priors,
    complaint: Complaint,
    history: Sequence[str] = (),
    *,
    pair_least: float | None = None,
) -> tuple[Hypothesis, ...]:
    """All single faults, pairs above a prior, and "something else", normalised.

    Args:
        layout: the installation.
        table: weights.
        complaint: the fuse opens, or nothing answers.
        history: names of the table's history entries that hold.
        pair_least: prior above which two faults at once are listed; the table's by default.

    Raises:
        KeyError: no such history entry.
    """
    factors = _factors(table, history)
    singles: list[Hypothesis] = []
    for fault in table.fault:
        weight = (fault.opens if complaint == "opens" else fault.nothing) * factors(fault.part)
        instances = list(_instances(layout, fault)) if weight > 0 else []
        singles += [_single(fault, i, weight / len(instances), table.source) for i in instances]
    total = sum(h.weight for h in singles) / (1.0 - table.something_else)
    singles = [replace(h, weight=h.weight / total) for h in singles]
    least = table.pair_least if pair_least is None else pair_least
    pairs = list(_pairs(singles, table.pair_factor, least))
    other = Hypothesis(ELSE, frozenset(), frozenset(), frozenset(), frozenset(), (),
                       table.something_else, table.source)  # fmt: skip
    everything = [*singles, *pairs, other]
    whole = sum(h.weight for h in everything)
    return tuple(replace(h, weight=h.weight / whole) for h in everything)


def _factors(table: Priors, history: Sequence[str]) -> Callable[[PartKind], float]:
    known = {entry.name: entry for entry in table.history}
    held = [known[name] for name in history]

    def of(part: PartKind) -> float:
        product = 1.0
        for entry in held:
            product *= entry.factor if part in entry.parts else 1.0
        return product

    return of


def _single(fault: Fault, instance: _Instance, weight: float, source: str) -> Hypothesis:
    on = "-".join(instance.circuits)
    name = f"{on + ': ' if on else ''}{instance.part}, {fault.kind}"
    return Hypothesis(name, frozenset({instance.part}), frozenset(instance.circuits),
                      frozenset({fault.part}), frozenset({fault.kind}), instance.changes, weight,
                      source, (FaultAt(instance.part, fault.kind, instance.circuits),))  # fmt: skip


def _pairs(singles: Sequence[Hypothesis], factor: float, least: float) -> Iterator[Hypothesis]:
    for a, b in combinations(singles, 2):
        weight = factor * a.weight * b.weight
        if weight < least or a.parts == b.parts or not a.changes or not b.changes:
            continue
        yield Hypothesis(f"{a.name} + {b.name}", a.parts | b.parts, a.circuits | b.circuits,
                         a.part_kinds | b.part_kinds, a.kinds | b.kinds,
                         a.changes + b.changes, weight,
                         f"{a.source}; pairs at {factor:g} of the product",
                         a.faults + b.faults)  # fmt: skip


def _instances(layout: Layout, fault: Fault) -> Iterator[_Instance]:
    match fault.part:
        case "outdoor cable" | "indoor cable":
            for cable in layout.load_cables:
                if layout.equipment.cables[cable].outdoor == (fault.part == "outdoor cable"):
                    yield from _on_cable(layout, cable, layout.on_cable(cable), fault.kind)
        case "thermostat cable":
            yield from _on_cable(layout, "thermostat", ("R", *layout.called), fault.kind)
        case "wires":
            yield from _swapped(layout, "thermostat", ("R", "C"))
            for cable in ("thermostat", *layout.load_cables):
                on = layout.called if cable == "thermostat" else layout.on_cable(cable)
                for pair in combinations(on, 2):
                    yield from _swapped(layout, cable, pair)
        case "thermostat":
            for t in layout.called:
                yield _at_thermostat(t, fault.kind)
        case "splice" | "switch":
            yield from _on_joints(layout, fault)
        case "load outdoors" | "load indoors":
            yield from _on_loads(layout, fault)
        case "board":
            yield from _on_board(layout, fault.kind)
        case "transformer":
            yield _Instance("transformer", (), (Change("open", "supply"),))
        case "accessory" if fault.kind == "dead coil":
            for load in layout.equipment.r_side.loads:
                change = Change("into", f"R.{load.name}", "dead_coil")
                yield _Instance(load.name, ("R",), (change,))
        case "accessory":
            yield _Instance("accessory", ("R",), (Change("into", "accessory", "accessory"),))
        case "fuse" | "none now":
            yield _Instance(fault.part, (), ())


def _swapped(layout: Layout, cable: str, pair: tuple[str, str]) -> Iterator[_Instance]:
    """Two conductors landed on each other's terminals at the board."""
    near = [f"{cable}.{t}.near" for t in pair]
    (start_a, mid_a), (start_b, mid_b) = (layout.elements[element] for element in near)
    changes = (Change("open", near[0]), Change("open", near[1]),
               Change("join", (start_a, mid_b), within=near[0]),
               Change("join", (start_b, mid_a), within=near[1]))  # fmt: skip
    yield _Instance(f"{cable} wires", pair, changes)


def _on_cable(
    layout: Layout, cable: str, conductors: Sequence[str], kind: FaultKind
) -> Iterator[_Instance]:
    part = f"{cable} cable"
    common = layout.mid(cable, "C")
    if kind == "comes and goes":
        yield from (_Instance(part, (t,), ()) for t in conductors)
        return
    if kind == "cross":
        for a, b in combinations(conductors, 2):
            at = (layout.mid(cable, a), layout.mid(cable, b))
            yield _Instance(part, (a, b), (Change("join", at, "cross"),))
        return
    for t in conductors:
        change = {
            "short": Change("join", (layout.mid(cable, t), common), "short"),
            "leak": Change("join", (layout.mid(cable, t), common), "leak"),
            "chassis": Change("join", (layout.mid(cable, t), "GND"), "chassis"),
            "open": Change("open", f"{cable}.{t}.near"),
        }[kind]
        yield _Instance(part, (t,), (change,))
    if kind == "open" and cable != "thermostat":
        yield _Instance(part, ("C",), (Change("open", f"{cable}.C.near"),))


def _at_thermostat(t: str, kind: FaultKind) -> _Instance:
    if kind == "open":
        return _Instance("thermostat", (t,), (Change("open", f"{t}.contact"),))
    return _Instance("thermostat", (t,), (Change("join", (f"{t}.te", "C.te"), "short", True),))


def _on_joints(layout: Layout, fault: Fault) -> Iterator[_Instance]:
    sides: list[tuple[str, str | None, tuple[Joint, ...]]]
    sides = [("R", None, layout.equipment.r_side.joints)]
    sides += [(c.terminal, c.cable, c.joints) for c in layout.equipment.circuits]
    for t, cable, joints in sides:
        for joint in joints:
            if joint.kind != fault.part:
                continue
            element = f"{t}.{joint.name}"
            # The side away from the board, where it is near; else the side towards it.
            inside = layout.elements[element][1 if joint.near else 0]
            common = "C" if cable is None or joint.near else layout.end(cable, "C")
            change = {
                # Opening a splice takes its own fault away; a rubbed lead stays.
                "short": Change("join", (inside, common), "short", within=element),
                "leak": Change("join", (inside, common), "leak", within=element),
                "chassis": Change("join", (inside, "GND"), "chassis"),
                "open": Change("open", element),
                "joint": Change("into", element, "joint"),
                "comes and goes": None,
            }[fault.kind]
            yield _Instance(joint.name, (t,), (change,) if change else ())


def _on_loads(layout: Layout, fault: Fault) -> Iterator[_Instance]:
    for circuit in layout.equipment.circuits:
        if circuit.load.outdoor == (fault.part == "load indoors") or not circuit.coils:
            continue
        element = f"{circuit.terminal}.load"
        change = {
            "dead coil": Change("into", element, "dead_coil"),
            "turns": Change("turns", element),
            "open": Change("open", element),
            "comes and goes": None,
        }[fault.kind]
        yield _Instance(circuit.load.name, (circuit.terminal,), (change,) if change else ())


def _on_board(layout: Layout, kind: FaultKind) -> Iterator[_Instance]:
    if kind == "short":
        for t in ("R", *layout.terminals):
            yield _Instance("board", (t,), (Change("join", (t, "C"), "short"),))
        return
    for circuit in layout.equipment.circuits:
        if circuit.cable is None:
            t = circuit.terminal
            yield _Instance("board", (t,), (Change("open", f"{t}.feed"),))
