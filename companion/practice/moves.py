"""What an apprentice can say to do, at one installation: every sentence, and the move it means.

Phrase list and parser are the same table, so what can be heard can be understood.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from companion.diagnosis.layout import Layout
from companion.equipment import Circuit, Equipment, RSide

Tokens = tuple[str, ...]
Doing = Literal[
    "power off", "power on", "meter proven", "all clear", "capacitor safe", "fuse out", "fuse in",
    "breaker in", "lamp in", "base off", "base on", "leads together", "leads", "jumper",
    "jumper off", "call", "call off", "lift", "wires back", "look", "alone", "do that", "repair",
    "hint", "why", "status", "repeat", "stop", "give up",
]  # fmt: skip
_PLAIN: Mapping[Doing, tuple[str, ...]] = {
    "power off": ("power off", "power is off", "power off and locked out"),
    "power on": ("power on", "power is on"),
    "meter proven": ("meter proven", "the meter is proven"),
    "all clear": ("all clear", "everything clear"),
    "capacitor safe": ("capacitor safe", "capacitor discharged"),
    "fuse out": ("fuse out", "breaker out", "lamp out"),
    "fuse in": ("fuse in", "new fuse in"),
    "breaker in": ("breaker in",),
    "lamp in": ("lamp in",),
    "base off": ("base off", "thermostat off"),
    "base on": ("base on", "thermostat on"),
    "leads together": ("leads together", "leads together ohms"),
    "jumper off": ("jumper off", "jumper out"),
    "call off": ("call off", "no call"),
    "wires back": ("wires back", "wires on"),
    "do that": ("do that", "do it"),
    "hint": ("hint", "help", "what next"),
    "why": ("y",),
    "status": ("status", "where was i"),
    "repeat": ("repeat", "say again"),
    "stop": ("stop",),
    "give up": ("i don't know", "quit"),
}
_MEASURES: Mapping[str, str] = {"ohms": "ohms", "volts": "volts", "amps": "amperes"}


@dataclass(frozen=True)
class Move:
    """One thing done: what, on which terminals or part, read as what."""

    do: Doing
    on: tuple[str, ...] = ()
    measure: str = ""
    where: str = "board"


class Moves:
    """Every move at an installation.

    Args:
        equipment: what is fitted.
        names: what each terminal is called, the vocabulary's.
        tokens: makes one token of words that sound alike.
    """

    def __init__(
        self,
        equipment: Equipment,
        names: Mapping[str, Sequence[str]],
        tokens: Callable[[str], Tokens],
    ) -> None:
        self._equipment, self._names, self._tokens = equipment, names, tokens
        self._layout = Layout(equipment)
        self._means: dict[Tokens, Move] = {}
        for said, move in (*self._plain(), *self._probed(), *self._parts()):
            self._means.setdefault(tokens(said), move)

    @property
    def phrases(self) -> list[str]:
        """Everything that can be said."""
        return [" ".join(tokens) for tokens in self._means]

    def meant(self, text: str) -> Move | None:
        """The move that words mean; None if they mean none. "Stop" counts wherever it is said."""
        tokens = tuple(t for t in self._tokens(text.replace(",", " ")) if t not in {"the", "uh"})
        if "stop" in tokens:
            return Move("stop")
        return self._means.get(tokens)

    def _plain(self) -> Iterator[tuple[str, Move]]:
        for do, all_said in _PLAIN.items():
            yield from ((said, Move(do)) for said in all_said)

    def _called(self, terminal: str) -> Sequence[str]:
        return self._names.get(terminal) or (terminal.lower(),)

    def _probed(self) -> Iterator[tuple[str, Move]]:
        terminals = ("R", *self._layout.terminals)
        pairs = [(t, "C") for t in terminals] + [(t, "GND") for t in (*terminals, "C")]
        names = {"GND": ("chassis", "ground")}
        for a, b in pairs:
            for one in self._called(a)[:2]:
                for other in names.get(b) or self._called(b)[:1]:
                    for said, measure in _MEASURES.items():
                        if measure == "amperes":
                            continue
                        move = Move("leads", (a, b), measure)
                        yield f"leads on {one} and {other} {said}", move
                        yield f"leads on {other} and {one} {said}", move
                        yield f"{said} {one} and {other}", move
                    if b == "C":
                        far = Move("leads", (a, b), "ohms", "thermostat")
                        yield f"leads on {one} and {other} at the thermostat ohms", far
        yield "amps", Move("leads", ("S", "R"), "amperes")
        for terminal in self._layout.terminals:
            for name in self._called(terminal)[:2]:
                yield f"jumper on {name}", Move("jumper", (terminal,))
                yield f"jumper r and {name}", Move("jumper", (terminal,))
                yield f"call {name}", Move("call", (terminal,))
        yield "jumper on c", Move("jumper", ("C",))
        yield "jumper r and c", Move("jumper", ("C",))

    def _parts(self) -> Iterator[tuple[str, Move]]:
        layout, equipment = self._layout, self._equipment
        for cable in equipment.cables:
            yield f"look at {cable} cable", Move("look", (f"{cable} cable",))
            for terminal in ("R", *layout.terminals):
                if f"{cable}.{terminal}.near" in layout.elements:
                    for name in self._called(terminal)[:1]:
                        lifted = Move("lift", (f"{cable}.{terminal}.near",))
                        yield f"{cable} wire off {name}", lifted
        sides: list[RSide | Circuit] = [equipment.r_side, *equipment.circuits]
        parts = [f"{cable} cable" for cable in equipment.cables]
        for joint in dict.fromkeys(joint.name for side in sides for joint in side.joints):
            yield f"look at {joint}", Move("look", (joint,))
            parts.append(joint)
        for load in dict.fromkeys(load.name for side in sides for load in side.coils):
            yield f"test {load} ohms", Move("alone", (load,))
            yield f"test {load}", Move("alone", (load,))
            parts.append(load)
        for part in (*parts, "thermostat", "board", "transformer", "fuse"):
            yield f"repair {part}", Move("repair", (part,))
            yield f"replace {part}", Move("repair", (part,))
