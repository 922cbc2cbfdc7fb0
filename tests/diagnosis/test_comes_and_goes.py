"""What leads astray: ghosts on open wires, swapped wires, and faults that come and go."""

import numpy as np
import pytest

from companion.diagnosis.case import open_case
from companion.diagnosis.tables import likelihoods
from tests.diagnosis.worlds import reference_house, row

HOUSE = reference_house("nothing")
HEAT_PUMP = open_case("heat-pump-air-handler", "nothing")


def volts(case, hypothesis, test):
    return case.belief.predictor.of(test).mean[row(case, hypothesis)]


def words(case, hypothesis, test):
    chances = case.belief.predictor.of(test).words[row(case, hypothesis)].mean(axis=0)
    return dict(zip(case.belief.predictor.tests[test].outcomes, chances, strict=True))


def test_an_open_wire_shows_a_ghost_that_a_relay_takes_away():
    """Common practice, no source: a ghost reads up to tens of percent and collapses on a load."""
    open_wire, at = "Y: thermostat cable, open", "volts Y-C at the thermostat"
    assert 2.0 < volts(HOUSE, open_wire, at).min() < 24.0
    assert volts(HOUSE, open_wire, f"{at}, relay across").max() < 0.1
    assert volts(HOUSE, "none now, history", at).max() < 0.5


def test_a_real_voltage_stays_under_the_relay():
    crossed, at = "R-Y: thermostat cable, cross", "volts Y-C at the thermostat"
    assert volts(HOUSE, crossed, at).min() > 18.0
    assert volts(HOUSE, crossed, f"{at}, relay across").min() > 18.0


def test_ghosts_span_tens_of_percent():
    """Every draw of the cable has its own; none is 24 V."""
    ghosts = volts(HEAT_PUMP, "Y: thermostat cable, open", "volts Y-C at the thermostat")
    assert ghosts.min() < 5.0
    assert 10.0 < ghosts.max() < 22.0


@pytest.mark.parametrize(
    ("swapped", "called"),
    [("Y-O: thermostat wires, swapped", "call Y"), ("Y-O: thermostat wires, swapped", "call O"),
     ("G-Y: thermostat wires, swapped", "call G"),
     ("Y-O: outdoor wires, swapped", "breaker, R to Y")],
)  # fmt: skip
def test_swapped_wires_run_the_wrong_load(swapped, called):
    """In most draws: a weak source may not pull a big contactor in, whichever is called."""
    said = words(HEAT_PUMP, swapped, called)
    assert said["other"] > 0.6
    assert words(HEAT_PUMP, "none now, history", called)["runs"] > 0.6


def test_swapped_at_the_thermostat_the_board_s_own_jumpers_run_the_right_load():
    assert words(HEAT_PUMP, "Y-O: thermostat wires, swapped", "breaker, R to Y")["runs"] > 0.6


def test_swapped_r_and_c_call_nothing():
    assert words(HEAT_PUMP, "R-C: thermostat wires, swapped", "call Y")["nothing"] > 0.8


def test_swapped_wires_measure_sound_at_the_board():
    """Nothing to replace: the ohms of each terminal are those of a load, if not of its own."""
    ohms = HEAT_PUMP.belief.predictor.of("ohms Y-C at the board").mean
    names = ("none now, history", "Y-O: thermostat wires, swapped")
    sound, crossed = (ohms[0, row(HEAT_PUMP, name)] for name in names)
    assert np.allclose(sound, crossed, rtol=0.05)


def test_a_fault_that_comes_and_goes_shows_when_shaken():
    case = open_case("cooling-gas-furnace")
    fault, shaken = "Y: outdoor cable, comes and goes", "shake the outdoor cable, R to Y"
    assert words(case, fault, shaken)["trips"] > 0.6
    assert words(case, fault, "breaker, R to Y")["trips"] < 0.05
    assert words(case, "Y: outdoor splice, comes and goes", shaken)["trips"] < 0.05
    assert words(case, fault, "run on, R to Y")["trips"] > 0.5
    calm = case.heard(shaken, "holds").belief.chances[row(case, fault)]
    assert calm < case.belief.chances[row(case, fault)]


def test_shaking_a_hard_short_trips_as_well():
    case = open_case("cooling-gas-furnace")
    hard = "Y: outdoor cable, short"
    assert words(case, hard, "shake the outdoor cable, R to Y")["trips"] > 0.9


def test_what_provokes_is_a_chance_and_not_a_certainty():
    provoked = likelihoods().provoked
    assert 0.5 < provoked.wiggled < 1.0
    assert 0.5 < provoked.running < 1.0
