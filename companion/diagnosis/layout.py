"""An installation as nodes and elements, before any value is put on them.

Nodes: ``S`` secondary, ``R`` after the fuse, ``C``, ``GND``, and for a terminal t:
``t`` at the board, ``t.n0``... after each joint near it, ``t.tm``/``t.te`` middle and end of the
thermostat cable,
``t.om``/``t.oe`` of the cable to the load, ``t.j0``... after each joint, ``t.k`` and
``t.r`` either side of the load. ``m`` is where along a cable a fault would sit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from companion.equipment import Circuit, Equipment, Joint


@dataclass
class Layout:
    """Nodes (``C`` is the reference) and named elements between them."""

    equipment: Equipment
    nodes: dict[str, int] = field(default_factory=lambda: {"C": 0})
    elements: dict[str, tuple[str, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        add = self._add
        add("supply", "S", "C")
        add("fuse", "S", "R")
        add("bond", "C", "GND")
        add("accessory", "R", "C")
        for load in self.equipment.r_side.loads:
            add(f"R.{load.name}", "R", "C")
        self._cable("thermostat", "R", "t", self._near("R", self.equipment.r_side.joints))
        for t in ("C", *self.called):
            self._cable("thermostat", t, "t", t)
        add("electronics", "R.te", "C.te")
        for t in self.called:  # capacitance along the cable: ghost voltages
            add(f"coupling.{t}.R", "R.tm", f"{t}.tm")
            add(f"coupling.{t}.C", "C.tm", f"{t}.tm")
        for name in self.load_cables:
            tag = "o" if name == "outdoor" else name
            self._cable(name, "C", tag, "C")
            for t in self.on_cable(name):
                self._cable(name, t, tag, self._near(t, self.equipment.fed(t).joints))
        for circuit in self.equipment.circuits:
            self._circuit(circuit)

    @property
    def terminals(self) -> tuple[str, ...]:
        """Terminals with a load, in the equipment's order."""
        return tuple(c.terminal for c in self.equipment.circuits)

    @property
    def called(self) -> tuple[str, ...]:
        """Terminals that a thermostat calls, whose wires are in its cable."""
        fed = self.equipment.circuits
        return tuple(c.terminal for c in fed if c.called_by == "thermostat")

    @property
    def load_cables(self) -> tuple[str, ...]:
        """Names of the cables that lead to loads."""
        return tuple(n for n in self.equipment.cables if n != "thermostat" and self.on_cable(n))

    def on_cable(self, name: str) -> tuple[str, ...]:
        """Terminals whose load is at the end of a cable."""
        return tuple(c.terminal for c in self.equipment.circuits if c.cable == name)

    def ends(self, at: str | tuple[str, str]) -> tuple[int, int]:
        """Indices of the nodes of an element, or of a pair of nodes."""
        a, b = at if isinstance(at, tuple) else self.elements[at]
        return self.nodes[a], self.nodes[b]

    def mid(self, cable: str, t: str) -> str:
        """The node along a cable where a fault would sit."""
        return self.elements[f"{cable}.{t}.near"][1]

    def end(self, cable: str, t: str) -> str:
        """The node at a cable's far end."""
        return self.elements[f"{cable}.{t}.far"][1]

    def _add(self, name: str, a: str, b: str) -> None:
        for node in (a, b):
            self.nodes.setdefault(node, len(self.nodes))
        self.elements[name] = (a, b)

    def _near(self, t: str, joints: Sequence[Joint]) -> str:
        """Joints by the board, one after the other; the node after the last."""
        at = t
        for index, joint in enumerate(joint for joint in joints if joint.near):
            self._add(f"{t}.{joint.name}", at, f"{t}.n{index}")
            at = f"{t}.n{index}"
        return at

    def _cable(self, cable: str, t: str, tag: str, start: str) -> None:
        self._add(f"{cable}.{t}.near", start, f"{t}.{tag}m")
        self._add(f"{cable}.{t}.far", f"{t}.{tag}m", f"{t}.{tag}e")

    def _circuit(self, circuit: Circuit) -> None:
        t = circuit.terminal
        if circuit.cable is None:
            at, back = self._near(t, circuit.joints), "C"
        else:
            at, back = self.end(circuit.cable, t), self.end(circuit.cable, "C")
        for index, joint in enumerate(joint for joint in circuit.joints if not joint.near):
            self._add(f"{t}.{joint.name}", at, f"{t}.j{index}")
            at = f"{t}.j{index}"
        self._add(f"{t}.feed", at, f"{t}.k")
        self._add(f"{t}.load", f"{t}.k", f"{t}.r")
        self._add(f"{t}.return", f"{t}.r", back)
        if circuit.board_ohm is not None or circuit.logic is not None:
            self._add(f"{t}.board", t, "C")
        if circuit.called_by == "thermostat":
            self._add(f"{t}.contact", "R.te", f"{t}.te")
        self._add(f"{t}.jumper", "R", t)
