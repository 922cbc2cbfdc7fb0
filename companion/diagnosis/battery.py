"""The tests that can be done on an installation, with what each takes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from companion.diagnosis.layout import Layout
from companion.diagnosis.outward import at_the_load, at_the_thermostat, looks, near_joints, provoked
from companion.diagnosis.tables import Complaint, Effort, Minutes
from companion.diagnosis.trial import Power, Setup, Test
from companion.equipment import Circuit


def battery(layout: Layout, effort: Effort, complaint: Complaint = "opens") -> tuple[Test, ...]:
    """Every test, in the order in which the trade sweeps.

    What shows with nothing calling comes first. Where the fuse opens, ohms come before
    anything is energized again; where nothing answers, volts come before power is taken
    off. Each at the board first, then further away, a place at a time.
    """
    idle = list(_idle(effort.minutes))
    first: Power = "dead" if complaint == "opens" else "live"
    ways = {place.name: place.way_minutes for place in effort.place}

    def rank(test: Test) -> tuple[bool, float]:
        return test.setup.power not in {first, "any"}, ways[test.where]

    return (*idle, *sorted(_further(layout, effort.minutes), key=rank))


def _further(layout: Layout, minutes: Minutes) -> list[Test]:
    tests = [_ohms(t, minutes.ohms) for t in ("R", *layout.terminals)]
    for c in layout.equipment.circuits:
        tests += _energized(c, minutes)
    tests += _backfed(layout, minutes.volts)
    for t in layout.terminals:
        say = f"Ohms, {t} to bare chassis, at the board."
        why = "A rubbed wire reads to chassis even where C is not bonded."
        tests.append(Test(f"ohms {t}-chassis at the board", say, "ohms", Setup(), (t, "GND"), t,
                          "board", minutes.ohms, why=why))  # fmt: skip
    for t in ("R", *layout.terminals):
        tests += _lifted(layout, t, minutes.ohms, minutes.lift_at_board)
        tests += near_joints(layout, t, minutes.ohms, minutes.lift_at_board)
    why = "All calls together may be more than the transformer carries."
    tests.append(Test("amps, all calling", "Everything calling. Amps at the secondary.", "amperes",
                      Setup("live", jumpers=layout.terminals, protection="breaker"),
                      ("S", "R"), None, "board", minutes.amperes, why=why))  # fmt: skip
    tests += at_the_thermostat(layout, minutes)
    for c in layout.equipment.circuits:
        tests += at_the_load(layout, c, minutes)
    tests += provoked(layout, minutes.wiggle)
    tests += looks(layout, minutes.look)
    return tests


def _idle(minutes: Minutes) -> Iterator[Test]:
    idle = Setup("live", protection="breaker")
    yield Test("fuse rating", "Pull the fuse. What rating is printed on it?", "look", Setup("any"),
               ("", ""), None, "board", minutes.look, sees="fuse",
               words=("under marking", "not under"),
               why="A fuse below the marking opens with nothing wrong behind it.")  # fmt: skip
    yield Test("volts R-C", "Nothing calling. AC volts, R to C, at the board.", "volts", idle,
               ("R", "C"), "R", "board", minutes.volts,
               why="It shows whether transformer and fuse feed R.")  # fmt: skip
    yield Test("breaker, no call", "Nothing calling. Does the breaker on R trip or hold?",
               "breaker", idle, ("", ""), "R", "board", minutes.breaker, words=("trips", "holds"),
               why="A trip with no call puts the short on the R side.")  # fmt: skip


def _ohms(t: str, minutes: float) -> Test:
    return Test(f"ohms {t}-C at the board", f"Ohms, C to {t}, at the board.", "ohms", Setup(),
                (t, "C"), t, "board", minutes,
                why="A shorted circuit reads little more than its own wire.")  # fmt: skip


def _energized(c: Circuit, minutes: Minutes) -> Iterator[Test]:
    t = c.terminal
    one = Setup("live", jumpers=(t,), protection="breaker")
    yield Test(f"breaker, R to {t}", f"Jump R to {t}, five seconds. Trips, runs, or nothing?",
               "breaker", one, ("", ""), t, "board", minutes.breaker,
               why="A short trips it; a sound circuit runs its load.")  # fmt: skip
    yield Test(f"lamp, R to {t}", f"Lamp from R to {t}. Bright, dim or dark?", "lamp",
               Setup("live", jumpers=(t,), protection="lamp"), ("", ""), t, "board", minutes.lamp,
               why="A short lights it fully; a good coil dims it.")  # fmt: skip
    yield Test(f"amps, R to {t}", f"Jump R to {t}. Amps in the jumper.", "amperes", one,
               ("S", "R"), t, "board", minutes.amperes,
               why="Amps tell a bad coil where ohms can't.")  # fmt: skip
    if c.coils:
        yield Test(f"run on, R to {t}", f"Jump R to {t}, run ten minutes. Trips or holds?",
                   "breaker", one, ("", ""), t, "board", minutes.run_on,
                   words=("trips", "holds"), provokes="running",
                   why="Heat and shaking bring out a fault that comes and goes.")  # fmt: skip
    if c.called_by != "thermostat" or c.drops_out:
        return
    called = Setup("live", base_on=True, calls=(t,), protection="breaker")
    yield Test(f"volts {t}-C, called", f"Call {t} at the thermostat. AC volts, {t} to C, board.",
               "volts", called, (t, "C"), t, "board", minutes.volts,
               why="It shows whether thermostat and wire bring R to it.")  # fmt: skip
    yield Test(f"call {t}", f"Call {t} at the thermostat. Trips, runs, other, or nothing?",
               "breaker", called, ("", ""), t, "board", minutes.breaker,
               why="Swapped wires run the wrong load.")  # fmt: skip


def _backfed(layout: Layout, volts: float) -> Iterator[Test]:
    """Volts on a wire that nobody called, beside one that is: a lost common feeds it back."""
    for cable in layout.load_cables:
        for called, other in pairwise(layout.on_cable(cable)):
            one = Setup("live", jumpers=(called,), protection="breaker")
            yield Test(f"volts {other}-C, R to {called}",
                       f"Jump R to {called}. AC volts, {other} to C, board.", "volts", one,
                       (other, "C"), other, "board", volts,
                       why="A lost common feeds back through the other load.")  # fmt: skip


def _lifted(layout: Layout, t: str, ohms: float, lift: float) -> Iterator[Test]:
    off = frozenset({f"thermostat.{t}.near"}) & set(layout.elements)
    if off:
        yield Test(f"ohms {t}-C, thermostat wire lifted",
                   f"Lift the thermostat's wire off {t}. Ohms, C to {t}.", "ohms",
                   Setup(lifted=off), (t, "C"), t, "board", ohms + lift,
                   why="If the fault goes, it is on the thermostat's side.")  # fmt: skip
        yield Test(f"ohms {t}-C, base on", f"Thermostat on its base, set off. Ohms, C to {t}.",
                   "ohms", Setup(base_on=True), (t, "C"), t, "board", ohms,
                   why="A pinch in the base shows only with the base on.")  # fmt: skip
    if t == "R":
        for load in layout.equipment.r_side.loads:
            yield Test(f"ohms R-C, {load.name} off", f"Lift the {load.name} off R. Ohms, C to R.",
                       "ohms", Setup(lifted=frozenset({f"R.{load.name}"})), (t, "C"), t, "board",
                       ohms + lift, why=f"If the fault goes, it is the {load.name}.")  # fmt: skip
        return
    cable = layout.equipment.fed(t).cable
    if cable is None:
        return
    away = frozenset({f"{cable}.{t}.near"})
    yield Test(f"ohms {t}-C, {cable} wire lifted",
               f"Lift the {cable} wire off {t}. Ohms, C to {t}.", "ohms",
               Setup(lifted=away), (t, "C"), t, "board", ohms + lift,
               why="If the fault goes with the wire, it is out there.")  # fmt: skip
    if off:
        yield Test(f"ohms {t}-C, both wires lifted", f"Lift all wires off {t}. Ohms, C to {t}.",
                   "ohms", Setup(lifted=off | away), (t, "C"), t, "board", ohms + 2 * lift,
                   why="What still shows now is the board's own.")  # fmt: skip
