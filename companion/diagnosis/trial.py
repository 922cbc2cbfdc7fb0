"""A test as data: how the installation is put, what is read, where, and what it takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Measure = Literal["ohms", "volts", "amperes", "breaker", "lamp", "look"]
Power = Literal["dead", "live", "any"]
METER_OHM = 10e6


@dataclass(frozen=True)
class Setup:
    """How the installation is put for a test.

    Args:
        power: dead (fuse out), live, or no matter.
        base_on: the thermostat sits on its base.
        lifted: elements taken out of the circuit.
        jumpers: terminals joined to R at the board.
        calls: terminals called at the thermostat.
        protection: what stands between S and R when live.
    """

    power: Power = "dead"
    base_on: bool = False
    lifted: frozenset[str] = frozenset()
    jumpers: tuple[str, ...] = ()
    calls: tuple[str, ...] = ()
    protection: Literal["none", "breaker", "lamp"] = "none"


@dataclass(frozen=True)
class Test:
    """One thing to do, with one outcome.

    Args:
        name: unique, plain.
        say: what to do and what to read, for the technician.
        measure: what is read.
        setup: how the installation is put.
        at: the two nodes probed, for ohms and volts.
        circuit: the terminal it is about, if one.
        where: the place to stand at.
        minutes: the doing itself, without ways and making safe.
        sees: for a look, the part looked at.
        words: outcomes of its own, where those of the measure are not meant.
        why: what it tells, for the technician.
        meter_ohm: what is across the probes: the meter's input, or a relay put beside it.
        provokes: how a fault that comes and goes is made to show: in the part that it ``sees``, or
            in any of its circuit.
    """

    __test__ = False  # pytest: not a test of ours

    name: str
    say: str
    measure: Measure
    setup: Setup
    at: tuple[str, str]
    circuit: str | None
    where: str
    minutes: float
    sees: str | None = None
    words: tuple[str, ...] = ()
    why: str = ""
    meter_ohm: float = METER_OHM
    provokes: Literal["wiggled", "running"] | None = None

    @property
    def to_chassis(self) -> bool:
        """Whether it reads common as well, where that is bonded to the chassis."""
        return self.measure == "ohms" and self.at[1] == "GND"

    @property
    def outcomes(self) -> tuple[str, ...]:
        """The words it can come out as; empty where a number is read."""
        return self.words or {
            "breaker": ("trips", "runs", "other", "nothing"),
            "lamp": ("bright", "dim", "dark"),
            "look": ("damaged", "sound"),
        }.get(self.measure, ())
