"""The simulated installation: it reads as a house does, and bears what is done to it."""

from __future__ import annotations

import pytest

from companion.diagnosis.likelihood import OL
from companion.equipment import all_equipment
from companion.practice import House, faults, hidden_fault
from companion.practice.house import COIL_RISE_KELVIN, MOVED

FURNACE = "cooling-gas-furnace"


def house(fault: str, complaint="opens", seed=1, comes=1.0, equipment=FURNACE) -> House:
    fitted = all_equipment()[equipment]
    return House(fitted, complaint, hidden_fault(fitted, complaint, fault), seed, comes)


def test_ohms_are_read_through_the_leads():
    shorted = house("Y: contactor coil, dead coil")
    at_board = shorted.shows("ohms Y-C at the board")
    assert shorted.installed.leads_ohm < at_board < 3.0
    assert abs(shorted.installed.touched_leads(0) - shorted.installed.leads_ohm) <= 0.3


def test_the_same_seed_is_the_same_house():
    names = list(house("Y: outdoor cable, short").tests)
    first, second = house("Y: outdoor cable, short"), house("Y: outdoor cable, short")
    assert [first.shows(n) for n in names] == [second.shows(n) for n in names]


def test_a_call_on_a_short_opens_the_fuse_once_and_then_nothing_is_fed():
    shorted = house("W: thermostat cable, short")
    shorted.fit("fuse")
    shorted.call("W")
    assert (shorted.fuses_burnt, shorted.protection) == (1, "open fuse")
    assert shorted.volts("R", "C") == 0.0
    assert shorted.call("G") == "nothing"
    assert shorted.fuses_burnt == 1


def test_a_breaker_trips_and_costs_no_fuse():
    shorted = house("W: thermostat cable, short")
    shorted.fit("breaker")
    shorted.call("W")
    assert (shorted.fuses_burnt, shorted.trips) == (0, 1)
    assert shorted.volts("R", "C") > 20.0


def test_a_lamp_in_series_limits_what_the_short_draws():
    shorted = house("W: thermostat cable, short")
    shorted.fit("lamp")
    assert shorted.shows("amps, R to W") < 2.0
    assert shorted.fuses_burnt == 0


@pytest.mark.parametrize("name", ["Y: outdoor cable, short", "O: outdoor splice, short"])
def test_repair_mends_what_was_wrong_and_nothing_else_does(name):
    equipment = "heat-pump-air-handler"
    at_fault = name.split(": ")[1].split(",")[0]
    broken = house(name, equipment=equipment)
    assert not broken.repair("board")
    assert not broken.mended
    assert broken.repair(at_fault)
    assert broken.mended


def test_a_part_whose_name_begins_like_another_is_not_that_part():
    broken = house("Y: thermostat, short")
    assert not broken.repair("thermostat cable")
    assert not broken.mended


def test_of_two_faults_one_is_left():
    both = house("Y: outdoor cable, short + W: thermostat cable, short")
    assert both.repair("outdoor cable")
    assert not both.mended
    assert both.shows("ohms W-C at the board") < 3.0
    assert both.repair("thermostat cable")
    assert both.mended


def test_sound_parts_replaced_besides_are_told():
    assert not house("Y: outdoor cable, short").repair("outdoor cable and contactor coil")


def test_a_fault_that_comes_and_goes_reads_both_ways_in_an_hour():
    loose = house("Y: outdoor cable, short", comes=0.5)
    read = []
    for _ in range(12):
        loose.wait(5.0)
        read.append(loose.shows("ohms Y-C at the board") < 4.0)
    assert set(read) == {True, False}


def test_what_comes_and_goes_is_mended_where_it_was_moved():
    loose = house("Y: outdoor cable, short", comes=0.3, seed=2)
    assert not loose.repair(MOVED)
    assert loose.shaken()
    assert loose.repair(MOVED)
    assert loose.mended


def test_a_coil_that_was_energized_reads_more_and_cools():
    sound = house("none now, history", complaint="opens")
    cold = sound.shows("ohms, contactor coil alone")
    sound.wait(60.0, ("Y",))
    warm = sound.shows("ohms, contactor coil alone")
    most = 1.0 + 0.0039 * COIL_RISE_KELVIN  # IEC 60028: 0.393 % a kelvin at 20 degrees
    assert cold * 1.1 < warm < cold * most * 1.05
    sound.wait(300.0)
    assert sound.shows("ohms, contactor coil alone") == pytest.approx(cold, abs=0.5)


def test_volts_on_a_wire_that_hangs_in_the_air_are_a_ghost_and_not_none():
    """A meter of ten megohms beside a fed wire; domain: ghost voltage."""
    open_wire = house("Y: thermostat cable, open", complaint="nothing")
    ghost = open_wire.volts("Y.te", "C")
    assert 0.0 < ghost < 24.0


def test_the_winding_is_in_the_reading_while_the_fuse_is():
    sound = house("none now, history", complaint="nothing")
    sound.powered = False
    assert sound.shows("ohms R-C at the board") < 3.0
    sound.fit("nothing")
    assert (
        sound.shows("ohms R-C at the board") in {OL} or sound.shows("ohms R-C at the board") > 1e4
    )


def test_effort_counts_ways_and_making_safe():
    broken = house("Y: outdoor cable, short")
    broken.shows("ohms Y-C at the board")
    near = broken.minutes
    broken.shows("ohms, contactor coil alone")
    assert broken.minutes - near > 6.0


def test_every_fault_of_every_equipment_makes_a_house():
    for equipment in all_equipment().values():
        for complaint in ("opens", "nothing"):
            for name in list(faults(equipment, complaint))[:3]:
                if name != "something else":
                    assert House(equipment, complaint, hidden_fault(equipment, complaint, name))
