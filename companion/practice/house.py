"""An invented house: an installation with a hidden fault that can be read, energized, repaired."""

from __future__ import annotations

import zlib
from dataclasses import replace
from math import exp
from typing import Literal

import numpy as np

from companion.diagnosis.battery import battery
from companion.diagnosis.case import Standing, after, minutes
from companion.diagnosis.hypotheses import Hypothesis, hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.tables import Complaint, effort, priors
from companion.diagnosis.trial import Setup, Test
from companion.equipment import Equipment
from companion.practice.installed import Installed, Shown

NOTHING_WRONG = "none now"
COMES_AND_GOES = ", comes and goes"
MOVED = "the cable or splice that you moved"
Protection = Literal["fuse", "open fuse", "breaker", "lamp", "nothing"]

SPELL_MINUTES = 5.0  # judgement: how long a fault that comes and goes stays one or the other
SHOWS_WHEN_MOVED = 0.8  # judgement: share of such faults that shaking brings on
COIL_RISE_KELVIN, COIL_MINUTES = 50.0, 15.0  # judgement: a sealed coil's final rise, and how soon
MOVABLE = frozenset({"outdoor cable", "indoor cable", "thermostat cable", "splice", "switch"})


def faults(
    equipment: Equipment, complaint: Complaint, *, pair_least: float | None = None
) -> dict[str, Hypothesis]:
    """Everything that can be wrong with an equipment, by name, with its prior."""
    layout = Layout(equipment)
    rows = hypotheses(layout, priors(), complaint, (), pair_least=pair_least)
    return {row.name: row for row in rows}


def hidden_fault(equipment: Equipment, complaint: Complaint, name: str) -> Hypothesis:
    """A fault by name; two joined by " + " are both there at once.

    Raises:
        KeyError: the equipment can't have it.
    """
    known = faults(equipment, complaint)
    first, *more = [known[each] for each in name.split(" + ")]
    for other in more:
        first = replace(
            first,
            name=f"{first.name} + {other.name}",
            parts=first.parts | other.parts,
            circuits=first.circuits | other.circuits,
            part_kinds=first.part_kinds | other.part_kinds,
            kinds=first.kinds | other.kinds,
            changes=first.changes + other.changes,
        )
    return first


class House:
    """One installation, its fault, its clock.

    Args:
        equipment: what is fitted.
        complaint: what it was called for.
        hidden: what is wrong, one of ``faults``.
        seed: of the installation; the same seed is the same house.
        comes: share of the time that the fault is there; below 1 it comes and goes.
    """

    def __init__(
        self, equipment: Equipment, complaint: Complaint, hidden: Hypothesis, seed: int = 0,
        comes: float = 1.0,
    ) -> None:  # fmt: skip
        self.equipment, self.complaint, self.hidden = equipment, complaint, hidden
        self.installed = Installed(equipment, seed)
        self.tests = {t.name: t for t in battery(Layout(equipment), effort(), complaint)}
        self.comes, self.moved = comes, False
        self.powered = True
        self.protection: Protection = "open fuse" if complaint == "opens" else "fuse"
        self.minutes, self.clock, self.fuses_burnt, self.trips = 0.0, 0.0, 0, 0
        self.opened_unseen = False  # a fuse opened, and nobody has noticed
        self._seed = seed
        self._standing = Standing()
        self._left = hidden
        self._asked: dict[str, int] = {}
        self._heat: dict[str, float] = {}

    # ── What is wrong ────────────────────────────────────────────────────────

    @property
    def mended(self) -> bool:
        """Whether everything that was wrong has been repaired."""
        return not self._left.parts - {NOTHING_WRONG}

    @property
    def comes_and_goes(self) -> bool:
        """Whether the fault is not there all the time."""
        return self.comes < 1.0 or "comes and goes" in self.hidden.kinds

    def repair(self, part: str) -> bool:
        """Repair parts, joined by " and "; whether each was at fault. Others may be left."""
        named = set(part.split(" and "))
        wrong = self._left.parts - {NOTHING_WRONG}
        if MOVED in named and self.moved and self._left.part_kinds & MOVABLE:
            named = named - {MOVED} | wrong
        left = wrong - named
        if left == wrong:
            return False
        self._left = _sound(self.hidden)
        if left:
            known = faults(self.equipment, self.complaint)
            names = self.hidden.name.split(" + ")
            self._left = next(known[name] for name in names if known[name].parts == left)
        return named <= wrong

    def _now(self) -> Hypothesis:
        """What is wrong at this minute."""
        if self.comes >= 1.0 or self._left.parts <= {NOTHING_WRONG}:
            return self._left
        spell = int(self.clock / SPELL_MINUTES)
        there = np.random.default_rng((self._seed, 7, spell)).random() < self.comes
        return self._left if there else _sound(self._left)

    def shaken(self) -> bool:
        """Whether shaking the wires makes a fault that comes and goes show."""
        movable = bool(self._left.part_kinds & MOVABLE) and not self.mended
        rng = np.random.default_rng((self._seed, 8))
        self.moved = self.comes < 1.0 and movable and bool(rng.random() < SHOWS_WHEN_MOVED)
        return self.moved

    def shorted(self) -> bool:
        """Whether a lamp in series is bright now on any call."""
        names = [f"lamp, R to {circuit.terminal}" for circuit in self.equipment.circuits]
        tests = [self.tests[name] for name in names if name in self.tests]
        return any(self.installed.flawless(self._now(), test) == "bright" for test in tests)

    # ── Moves ────────────────────────────────────────────────────────────────

    def shows(self, test: str) -> float | str:
        """What one of ``tests`` comes out as now: a number in SI, ``likelihood.OL``, or a word.

        Raises:
            KeyError: the equipment has no such test.
        """
        return self.do(self.tests[test])

    def do(self, test: Test) -> float | str:
        """Do a test, for what it takes of minutes, fuses and breakers."""
        again = self._asked.get(test.name, 0)
        spent = minutes(test, self._standing, effort(), again=False)
        self._standing = after(test, self._standing)
        self.minutes += spent
        self.wait(spent, (*test.setup.jumpers, *test.setup.calls))
        return self._read(test, again).value

    def wait(self, some: float, energized: tuple[str, ...] = ()) -> None:
        """Let minutes go by: coils that are energized warm up, others cool."""
        self.clock += some
        keep = exp(-some / COIL_MINUTES)
        for circuit in self.equipment.circuits:
            goal = COIL_RISE_KELVIN if circuit.terminal in energized else 0.0
            was = self._heat.get(circuit.terminal, 0.0)
            self._heat[circuit.terminal] = goal + (was - goal) * keep

    def fit(self, protection: Protection) -> None:
        """Put something in the fuse's place, or nothing."""
        self.protection = protection

    def read(self, test: Test) -> float | str:
        """The same without counting minutes: what is looked at on the way."""
        return self._read(test, self._asked.get(test.name, 0)).value

    def _read(self, test: Test, again: int) -> Shown:
        self._asked[test.name] = again + 1
        live = test.setup.power == "live"
        if live and self.protection in {"open fuse", "nothing"}:
            dark = {"breaker": test.outcomes[-1:], "lamp": ("dark",)}.get(test.measure, ())
            return Shown(dark[0] if dark else 0.0)
        if live and self.protection == "lamp":
            test = replace(test, setup=replace(test.setup, protection="lamp"))
        shown = self.installed.shows(
            self._now(), test, self._repeats(test, again), self._heat, self._winding(test)
        )
        if shown.opened and self.protection == "fuse":
            self.fuses_burnt += 1
            self.protection = "open fuse"
            self.opened_unseen = True
        elif shown.opened and self.protection == "breaker":
            self.trips += 1
        return shown

    def _repeats(self, test: Test, again: int) -> int:
        """A fault that comes and goes may be another thing the second time."""
        return again if self.comes >= 1.0 else again + 1000 * int(self.clock / SPELL_MINUTES)

    def _winding(self, test: Test) -> float | None:
        """The transformer's winding lies across R and C while a fuse is in."""
        dead = test.setup.power == "dead" and test.measure == "ohms"
        fused = self.protection in {"fuse", "breaker"} and not self.powered
        return self.installed.winding_ohm if dead and fused and set(test.at) == {"R", "C"} else None

    # ── Around the hunt ──────────────────────────────────────────────────────

    def volts(self, a: str, b: str, called: str | None = None) -> float:
        """AC volts between two nodes, thermostat on its base, one call on or none."""
        setup = self._called(called)
        test = Test(f"volts {a} {b} {called}", "", "volts", setup, (a, b), called, "board", 1.0)
        return float(self.read(test))

    def secondary_volt(self) -> float:
        """AC volts ahead of the fuse, with nothing behind it."""
        lost = any(change.at == "supply" for change in self._now().changes)
        return 0.0 if lost else self.installed.open_volt

    def call(self, terminal: str) -> str:
        """Call one circuit at the thermostat, fuse in: runs, nothing, or trips."""
        self.wait(2.0, (terminal,))
        setup = self._called(terminal)
        name = f"call {terminal}"
        test = Test(name, "", "breaker", setup, ("", ""), terminal, "board", 2.0)
        was_fed = self.protection not in {"open fuse", "nothing"}
        trips, fuses = self.trips, self.fuses_burnt
        seen = self.read(test)
        if (self.trips, self.fuses_burnt) != (trips, fuses) or not was_fed:
            return str(seen)
        # Whoever proves a repair looks twice: what is seen is what is there.
        return str(self.installed.flawless(self._now(), test))

    def all_amps(self) -> float:
        """Amps at the secondary with everything calling."""
        return float(self.read(self.tests["amps, all calling"]))

    def coil_volt(self, terminal: str) -> float:
        """AC volts across a load while it is called."""
        return self.volts(f"{terminal}.k", f"{terminal}.r", terminal)

    @property
    def fitted_ampere(self) -> float:
        """What is printed on the fuse that was found."""
        wrong = "fuse" in self._left.parts
        rating = self.equipment.fuse_ampere
        return rating if not wrong else _under(rating, self._seed)

    def _called(self, terminal: str | None) -> Setup:
        if terminal is None:
            return Setup("live", base_on=True, protection="breaker")
        by_thermostat = terminal in self.installed.layout.called
        return Setup(
            "live",
            base_on=True,
            jumpers=() if by_thermostat else (terminal,),
            calls=(terminal,) if by_thermostat else (),
            protection="breaker",
        )


def _sound(hypothesis: Hypothesis) -> Hypothesis:
    """The same installation with nothing wrong."""
    parts = frozenset({NOTHING_WRONG})
    return replace(
        hypothesis, changes=(), parts=parts, kinds=frozenset(), part_kinds=frozenset()
    )  # fmt: skip


def _under(rating: float, seed: int) -> float:
    """A fuse below the marking: what was in the box (common practice, no source)."""
    return 3.0 if rating > 3.0 else (1.0, 2.0)[zlib.crc32(str(seed).encode()) % 2]
