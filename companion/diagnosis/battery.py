"""The tests that can be done on an installation, with what each takes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from companion.diagnosis.equipment import Circuit
from companion.diagnosis.layout import Layout
from companion.diagnosis.tables import Complaint, Effort, Minutes
from companion.diagnosis.trial import Power, Setup, Test

DEAD_BASE_OFF = Setup()


def battery(layout: Layout, effort: Effort, complaint: Complaint = "opens") -> tuple[Test, ...]:
    """Every test, in the order in which the trade sweeps.

    What shows with nothing calling comes first. Where the fuse opens, ohms come before
    anything is energized again; where nothing answers, volts come before power is taken
    off. Each at the board first, then further away, a place at a time.
    """
    idle = list(_idle(effort.minutes.volts, effort.minutes.breaker, effort.minutes.look))
    first: Power = "dead" if complaint == "opens" else "live"
    ways = {place.name: place.way_minutes for place in effort.place}

    def rank(test: Test) -> tuple[bool, float]:
        return test.setup.power not in {first, "any"}, ways[test.where]

    return (*idle, *sorted(_further(layout, effort), key=rank))


def _further(layout: Layout, effort: Effort) -> list[Test]:
    minutes = effort.minutes
    tests: list[Test] = []
    circuits = layout.equipment.circuits
    for t in ("R", *layout.terminals):
        tests.append(_ohms(f"ohms {t}-C at the board", t, minutes.ohms))
    for c in circuits:
        tests += _energized(c, minutes)
    tests += _backfed(layout, minutes.volts)
    for t in layout.terminals:
        tests.append(_ohms(f"ohms {t}-chassis at the board", t, minutes.ohms, to="GND"))
    for t in ("R", *layout.terminals):
        tests += _at_the_board(layout, t, minutes.ohms, minutes.lift_at_board)
    tests.append(Test("amps, all calling", "Amps at the secondary, everything calling", "amperes",
                      Setup("live", jumpers=layout.terminals, protection="breaker"),
                      ("S", "R"), None, "board", minutes.amperes))  # fmt: skip
    tests += _at_the_thermostat(layout, minutes.ohms, minutes.volts)
    for c in circuits:
        tests += _at_the_load(layout, c, minutes.ohms, minutes.lift_at_far_end, minutes.volts)
    tests += _looks(layout, minutes.look)
    return tests


def _idle(volts: float, breaker: float, look: float) -> Iterator[Test]:
    idle = Setup("live", protection="breaker")
    yield Test("fuse rating", "Fuse rating against the board's marking", "look", Setup("any"),
               ("", ""), None, "board", look, sees="fuse",
               words=("over marking", "as marked"))  # fmt: skip
    yield Test("volts R-C", "AC volts, R to C, nothing calling", "volts", idle, ("R", "C"), "R",
               "board", volts)  # fmt: skip
    yield Test("breaker, no call", "Breaker for the fuse, nothing calling: trips?", "breaker",
               idle, ("", ""), "R", "board", breaker)  # fmt: skip


def _ohms(
    name: str, t: str, minutes: float, *, to: str = "C", lifted: frozenset[str] = frozenset(),
    base_on: bool = False,
) -> Test:  # fmt: skip
    say = f"Ohms, {t} to {'chassis' if to == 'GND' else to}, at the board"
    return Test(name, say, "ohms", Setup(base_on=base_on, lifted=lifted), (t, to), t, "board",
                minutes)  # fmt: skip


def _energized(c: Circuit, minutes: Minutes) -> Iterator[Test]:
    t = c.terminal
    one = Setup("live", jumpers=(t,), protection="breaker")
    yield Test(f"breaker, R to {t}", f"Jump R to {t}: trips, runs, or nothing?", "breaker", one,
               ("", ""), t, "board", minutes.breaker)  # fmt: skip
    yield Test(f"lamp, R to {t}", f"Lamp R to {t}: bright, dim or dark?", "lamp",
               Setup("live", jumpers=(t,), protection="lamp"), ("", ""), t, "board",
               minutes.lamp)  # fmt: skip
    yield Test(f"amps, R to {t}", f"Jump R to {t}. Amps in the jumper", "amperes", one,
               ("S", "R"), t, "board", minutes.amperes)  # fmt: skip
    called = Setup("live", base_on=True, calls=(t,), protection="breaker")
    yield Test(f"volts {t}-C, called", f"Call {t} at the thermostat. AC volts {t} to C, board",
               "volts", called, (t, "C"), t, "board", minutes.volts)  # fmt: skip


def _backfed(layout: Layout, volts: float) -> Iterator[Test]:
    """Volts on a wire that nobody called, beside one that is: a lost common feeds it back."""
    for cable in layout.load_cables:
        on = layout.on_cable(cable)
        for called, other in pairwise(on):
            one = Setup("live", jumpers=(called,), protection="breaker")
            yield Test(f"volts {other}-C, R to {called}",
                       f"Jump R to {called}. AC volts {other} to C, board", "volts", one,
                       (other, "C"), other, "board", volts)  # fmt: skip


def _at_the_board(layout: Layout, t: str, ohms: float, lift: float) -> Iterator[Test]:
    off = frozenset({f"thermostat.{t}.near"})
    yield _ohms(f"ohms {t}-C, thermostat wire lifted", t, ohms + lift, lifted=off)
    yield _ohms(f"ohms {t}-C, base on", t, ohms, base_on=True)
    if t == "R":
        return
    cable = layout.equipment.circuit(t).cable
    if cable is not None:
        away = frozenset({f"{cable}.{t}.near"})
        yield _ohms(f"ohms {t}-C, {cable} wire lifted", t, ohms + lift, lifted=away)
        yield _ohms(f"ohms {t}-C, both wires lifted", t, ohms + 2 * lift, lifted=off | away)


def _at_the_load(
    layout: Layout, c: Circuit, ohms: float, lift: float, volts: float
) -> Iterator[Test]:
    t, part = c.terminal, c.load.name
    cable = None if c.cable is None else layout.equipment.cables[c.cable]
    where = "board" if cable is None else cable.far
    alone = frozenset({f"{t}.feed", f"{t}.return"})
    yield Test(f"ohms, {part} alone", f"Lift both wires of the {part}. Ohms across it", "ohms",
               Setup(lifted=alone), (f"{t}.k", f"{t}.r"), t, where, ohms + lift)  # fmt: skip
    yield Test(f"ohms {t}-C, {part} off", f"{part} off. Ohms, {t} to C, from there", "ohms",
               Setup(lifted=alone), _seen_from_load(layout, c), t, where, ohms + lift)  # fmt: skip
    live = Setup("live", jumpers=(t,), protection="breaker")
    if c.cable is None or cable is None:
        return
    yield Test(f"volts at the {part}", f"Jump R to {t}. AC volts across the {part}", "volts",
               live, (f"{t}.k", f"{t}.r"), t, where, volts)  # fmt: skip
    back, end = layout.end(c.cable, "C"), layout.end(c.cable, t)
    cut = frozenset({f"{c.cable}.{t}.near"})
    if c.joints:
        first = frozenset({f"{t}.{c.joints[0].name}"})
        yield Test(f"ohms {t}-C at the {c.joints[0].name}, cable side",
                   f"Open the {c.joints[0].name}. Ohms into the cable", "ohms",
                   Setup(lifted=first), (end, back), t, where, ohms + lift)  # fmt: skip
        yield Test(f"ohms {t}-C at the {c.joints[0].name}, unit side",
                   f"Open the {c.joints[0].name}. Ohms into the unit", "ohms",
                   Setup(lifted=first), (f"{t}.j0", back), t, where, ohms + lift)  # fmt: skip
    yield Test(f"volts {t}-C into the unit", f"Jump R to {t}. AC volts at the unit's wires",
               "volts", live, (end, back), t, where, volts)  # fmt: skip
    for index, joint in enumerate(c.joints):
        a, b = layout.elements[f"{t}.{joint.name}"]
        around = frozenset({f"{t}.feed"}) | cut
        yield Test(f"ohms across the {joint.name} on {t}", f"Ohms across the {joint.name}", "ohms",
                   Setup(lifted=around), (a, b), t, where, ohms)  # fmt: skip
        yield Test(f"ohms {t}-chassis at the {joint.name}", f"{joint.name} leads off. To chassis",
                   "ohms", Setup(lifted=_either_side(c, index)), (a, "GND"), t, where,
                   ohms + lift)  # fmt: skip


def _either_side(c: Circuit, index: int) -> frozenset[str]:
    """The joint's own outlet and whatever feeds it: what stays is the lead between."""
    t = c.terminal
    before = f"{t}.{c.joints[index - 1].name}" if index else f"{c.cable}.{t}.far"
    return frozenset({f"{t}.{c.joints[index].name}", before})


def _seen_from_load(layout: Layout, c: Circuit) -> tuple[str, str]:
    t = c.terminal
    return layout.elements[f"{t}.feed"][0], layout.elements[f"{t}.return"][1]


def _at_the_thermostat(layout: Layout, ohms: float, volts: float) -> Iterator[Test]:
    where = layout.equipment.cables["thermostat"].far
    yield Test("volts R-C at the thermostat", "Base off. AC volts, R to C, at the thermostat",
               "volts", Setup("live", protection="breaker"), ("R.te", "C.te"), "R", where,
               volts)  # fmt: skip
    for t in layout.terminals:
        yield Test(f"ohms {t}-C at the thermostat", f"Base off. Ohms, {t} to C, at the thermostat",
                   "ohms", DEAD_BASE_OFF, (f"{t}.te", "C.te"), t, where, ohms)  # fmt: skip


def _looks(layout: Layout, minutes: float) -> Iterator[Test]:
    for name, cable in layout.equipment.cables.items():
        where = "board" if name == "thermostat" else cable.far
        yield Test(f"look along the {name} cable", f"Look along the {name} cable for damage",
                   "look", Setup("any"), ("", ""), None, where, 2 * minutes,
                   sees=f"{name} cable")  # fmt: skip
    seen = set()
    for c in layout.equipment.circuits:
        for joint in c.joints:
            if c.cable is None or joint.name in seen:
                continue
            seen.add(joint.name)
            yield Test(f"look at the {joint.name}", f"Look at the {joint.name}: wet, burnt, bare?",
                       "look", Setup("any"), ("", ""), None, layout.equipment.cables[c.cable].far,
                       minutes, sees=joint.name)  # fmt: skip
