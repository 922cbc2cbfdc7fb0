"""Tests away from the board's terminals: at joints, thermostat and loads; and looks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from companion.diagnosis.layout import Layout
from companion.diagnosis.tables import Minutes
from companion.diagnosis.trial import Setup, Test
from companion.equipment import Circuit, Joint

RELAY_OHM = 177.0  # a published general-purpose 24 V AC relay; see loads.toml


def near_joints(layout: Layout, t: str, ohms: float, lift: float) -> Iterator[Test]:
    """At the joints by the board, on a terminal's wire."""
    cable, joints = (None, layout.equipment.r_side.joints)
    if t != "R":
        cable, joints = layout.equipment.fed(t).cable, layout.equipment.fed(t).joints
    near = [joint for joint in joints if joint.near]
    ways = [f"{t}.{joint.name}" for joint in near]
    wire = f"{t}.feed" if cable is None else f"{cable}.{t}.near"
    ways.append("thermostat.R.near" if t == "R" else wire)
    for joint, way, beyond in zip(near, ways, ways[1:], strict=False):
        a, b = layout.elements[way]
        yield _across(joint, t, frozenset({beyond}), (a, b), "board", ohms)
        yield _to_chassis(joint, t, frozenset({way, beyond}), b, "board", ohms + lift)


def _across(
    joint: Joint, t: str, around: frozenset[str], at: tuple[str, str], where: str, ohms: float
) -> Test:
    return Test(f"ohms across the {joint.name} on {t}",
                f"{joint.name.capitalize()} on {t}, wires off: ohms across it.", "ohms",
                Setup(lifted=around), at, t, where, ohms,
                why=f"A sound {joint.kind} reads next to nothing.")  # fmt: skip


def _to_chassis(
    joint: Joint, t: str, off: frozenset[str], at: str, where: str, minutes: float
) -> Test:
    return Test(f"ohms {t}-chassis at the {joint.name}",
                f"{joint.name.capitalize()} on {t}, leads off: ohms, lead to chassis.", "ohms",
                Setup(lifted=off), (at, "GND"), t, where, minutes,
                why="Leads there rub on the cabinet.")  # fmt: skip


def at_the_load(layout: Layout, c: Circuit, minutes: Minutes) -> Iterator[Test]:
    """The load by itself, and from its end of the cable."""
    if not c.coils:
        return
    ohms, lift = minutes.ohms, minutes.lift_at_far_end
    t, part = c.terminal, c.load.name
    where = "board" if c.cable is None else layout.equipment.cables[c.cable].far
    alone = frozenset({f"{t}.feed", f"{t}.return"})
    yield Test(f"ohms, {part} alone", f"{part.capitalize()} on {t}, wires off: ohms across it.",
               "ohms", Setup(lifted=alone), (f"{t}.k", f"{t}.r"), t, where, ohms + lift,
               why="Alone, a coil shows its own ohms and nothing else's.")  # fmt: skip
    seen_from_it = layout.elements[f"{t}.feed"][0], layout.elements[f"{t}.return"][1]
    yield Test(f"ohms {t}-C, {part} off", f"{part.capitalize()} off. Ohms, {t} to C, its wires.",
               "ohms", Setup(lifted=alone), seen_from_it, t, where, ohms + lift,
               why="With the part out, what is left is wiring.")  # fmt: skip
    if c.cable is not None:
        yield from _at_the_end(layout, c, c.cable, where, minutes)


def _at_the_end(
    layout: Layout, c: Circuit, cable: str, where: str, minutes: Minutes
) -> Iterator[Test]:
    ohms, lift, volts = minutes.ohms, minutes.lift_at_far_end, minutes.volts
    t, part = c.terminal, c.load.name
    live = Setup("live", jumpers=(t,), protection="breaker")
    back, end = layout.end(cable, "C"), layout.end(cable, t)
    yield Test(f"volts at the {part}", f"Jump R to {t}. AC volts across the {part}.", "volts",
               live, (f"{t}.k", f"{t}.r"), t, where, volts,
               why="Volts there and no action: the part is at fault.")  # fmt: skip
    yield Test(f"volts {t}-C into the unit", f"Jump R to {t}. AC volts, {t} to C, cable's end.",
               "volts", live, (end, back), t, where, volts,
               why="Volts here clear the whole cable.")  # fmt: skip
    far_out = [joint for joint in c.joints if not joint.near]
    if far_out:
        joint = far_out[0]
        first = frozenset({f"{t}.{joint.name}"})
        yield Test(f"ohms {t}-C at the {joint.name}, cable side",
                   f"Open the {joint.name}. Ohms into the cable, {t} to C.", "ohms",
                   Setup(lifted=first), (end, back), t, where, ohms + lift,
                   why=f"It splits the cable from what hangs beyond the {joint.kind}.")  # fmt: skip
        yield Test(f"ohms {t}-C at the {joint.name}, unit side",
                   f"Open the {joint.name}. Ohms into the load, {t} to C.", "ohms",
                   Setup(lifted=first), (f"{t}.j0", back), t, where, ohms + lift,
                   why="It shows what hangs beyond, without the cable.")  # fmt: skip
    cut = f"{cable}.{t}.near"
    for index, joint in enumerate(far_out):
        a, b = layout.elements[f"{t}.{joint.name}"]
        yield _across(joint, t, frozenset({f"{t}.feed", cut}), (a, b), where, ohms)
        off = _either_side(c, far_out, index)
        yield _to_chassis(joint, t, off, a, where, ohms + lift)


def _either_side(c: Circuit, joints: Sequence[Joint], index: int) -> frozenset[str]:
    """The joint's own outlet and whatever feeds it: what stays is the lead between."""
    t = c.terminal
    before = f"{t}.{joints[index - 1].name}" if index else f"{c.cable}.{t}.far"
    return frozenset({f"{t}.{joints[index].name}", before})


def at_the_thermostat(layout: Layout, minutes: Minutes) -> Iterator[Test]:
    """At the wires of the thermostat's base."""
    where = layout.equipment.cables["thermostat"].far
    idle = Setup("live", protection="breaker")
    yield Test("volts R-C at the thermostat", "Base off. AC volts, R to C, at the thermostat.",
               "volts", idle, ("R.te", "C.te"), "R", where, minutes.volts,
               why="It shows whether R and C reach the thermostat.")  # fmt: skip
    relay = "A ghost collapses under a load; a real voltage stays."
    for t in layout.called:
        yield Test(f"volts {t}-C at the thermostat",
                   f"Base off. AC volts, {t} to C, thermostat's wires.", "volts", idle,
                   (f"{t}.te", "C.te"), t, where, minutes.volts,
                   why="An open wire shows a ghost of R beside it.")  # fmt: skip
        yield Test(f"volts {t}-C at the thermostat, relay across",
                   f"Relay across {t} and C, thermostat's wires. AC volts again.", "volts", idle,
                   (f"{t}.te", "C.te"), t, where, 2 * minutes.volts, why=relay,
                   meter_ohm=RELAY_OHM)  # fmt: skip
        yield Test(f"ohms {t}-C at the thermostat", f"Base off. Ohms, C to {t}, at the thermostat.",
                   "ohms", Setup(), (f"{t}.te", "C.te"), t, where, minutes.ohms,
                   why="From the other end, the same fault reads nearer or farther.")  # fmt: skip


def provoked(layout: Layout, minutes: float) -> Iterator[Test]:
    """Cables and joints wiggled while their circuit is energized through the breaker."""
    for name, cable in layout.equipment.cables.items():
        on = ("R", *layout.called) if name == "thermostat" else layout.on_cable(name)
        for t in on:
            yield _wiggled(f"{name} cable", t, "board", minutes)
        for t in layout.on_cable(name):
            for joint in layout.equipment.fed(t).joints:
                if joint.kind == "splice":
                    yield _wiggled(joint.name, t, cable.far, minutes)


def _wiggled(part: str, t: str, where: str, minutes: float) -> Test:
    jumpers = () if t == "R" else (t,)
    say = f"Jump R to {t}, shake the {part}. Trips or holds?"
    if t == "R":
        say = f"R fed, no call: shake the {part}. Trips or holds?"
    return Test(f"shake the {part}, R to {t}", say, "breaker",
                Setup("live", jumpers=jumpers, protection="breaker"), ("", ""), t, where, minutes,
                sees=part, words=("trips", "holds"), provokes="wiggled",
                why="A fault that comes and goes shows when it is moved.")  # fmt: skip


def looks(layout: Layout, minutes: float) -> Iterator[Test]:
    """A look along each cable, and at each joint."""
    for name, cable in layout.equipment.cables.items():
        where = "board" if name == "thermostat" else cable.far
        yield Test(f"look along the {name} cable",
                   f"Look along the {name} cable: bad, or good?", "look", Setup("any"),
                   ("", ""), None, where, 2 * minutes, sees=f"{name} cable",
                   why="A good look finds many cable faults.")  # fmt: skip
    seen = set()
    sides: list[tuple[str | None, tuple[Joint, ...]]] = [(None, layout.equipment.r_side.joints)]
    sides += [(c.cable, c.joints) for c in layout.equipment.circuits]
    for on, joints in sides:
        for joint in joints:
            if joint.name in seen:
                continue
            seen.add(joint.name)
            where = "board" if joint.near or on is None else layout.equipment.cables[on].far
            yield Test(f"look at the {joint.name}", f"Look at the {joint.name}: bad, or good?",
                       "look", Setup("any"), ("", ""), None, where, minutes, sees=joint.name,
                       why="Wet, burnt or bare shows at a look.")  # fmt: skip
