"""What must be so before each move, and why: an apprentice's breaches, explained."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from companion.practice.house import House
from companion.practice.moves import Move


class Breach(NamedTuple):
    """A rule that was broken: its short name, and why it stands."""

    rule: str
    why: str


FUSED = frozenset({"fuse", "breaker"})
LIVE_OHMS = Breach("ohms on a live circuit", "Ohms on a live circuit harm you and the meter. "
                   "Power off, locked, meter proven, zero volts read; then ohms.")  # fmt: skip
NOT_PROVEN = Breach("dead, but not proven dead", "A dead meter reads zero on a live wire. Prove "
                    "it on a live source, then read zero volts from R to C.")  # fmt: skip
FUSE_IN = Breach("ohms with the fuse in", "With the fuse in, the transformer's winding is in "
                 "the reading, and it looks like a short. Fuse out.")  # fmt: skip
NOT_CLEAR = Breach("energized without all clear", "Blower, burner and fan start unannounced. "
                   "Hands, hair, sleeves, tools clear, then energize.")  # fmt: skip
R_TO_C = Breach("R to C", "R to C is a dead short of the transformer. Never jump it.")
CAPACITOR = Breach("outdoors with a charged capacitor", "A run capacitor holds hundreds of "
                   "volts after power is off. Discharge it through a resistor.")  # fmt: skip
LIVE_WORK = Breach("work on a live circuit", "Wires are lifted, fuses pulled and parts "
                   "replaced dead, and proven dead.")  # fmt: skip
FUSE_RISKED = Breach("a fuse risked", "A new fuse goes in once ohms say that nothing is shorted. "
                     "A breaker or a lamp in its place costs nothing.")  # fmt: skip

LIVE_FIT = Breach("work on a live circuit", "Whatever goes in the fuse's place goes in dead.")


@dataclass
class Stated:
    """What the apprentice has said and read of power so far."""

    proven: bool = False
    zero: bool = False
    clear: bool = False
    capacitor: bool = False

    @property
    def dead(self) -> bool:
        """Whether it counts as verified dead."""
        return self.proven and self.zero

    def power(self) -> None:
        """The switch was moved: everything is to be said anew."""
        self.proven = self.zero = self.clear = self.capacitor = False


def breaches(move: Move, house: House, stated: Stated, outdoors: bool) -> Iterator[Breach]:
    """The rules that a move breaks as things stand.

    Args:
        move: what is about to be done.
        house: where.
        stated: what was said and read of power.
        outdoors: whether it is done inside a condensing unit.
    """
    dead_work = move.do in {"lift", "wires back", "repair", "fuse out", "base off", "alone"}
    ohms = move.do in {"leads", "alone"} and move.measure in {"ohms", ""}
    if move.do == "jumper" and move.on == ("C",):
        yield R_TO_C
    if ohms and house.powered:
        yield LIVE_OHMS
    elif dead_work and house.powered:
        yield LIVE_WORK
    elif (ohms or dead_work) and move.do not in {"fuse out", "base off"} and not stated.dead:
        yield NOT_PROVEN
    if ohms and "R" in move.on and not house.powered and house.protection in FUSED:
        yield FUSE_IN
    if move.do in {"jumper", "call"} and house.powered and not stated.clear:
        yield NOT_CLEAR
    risky = house.complaint == "opens" and house.protection == "fuse" and not house.mended
    if move.do in {"jumper", "call"} and house.powered and risky:
        yield FUSE_RISKED
    if outdoors and not stated.capacitor:
        yield CAPACITOR
