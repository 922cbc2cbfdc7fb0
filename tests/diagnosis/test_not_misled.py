"""Readings that once made a sound part the sure one: each hunt as it was simulated, cut short."""

import pytest

from companion.diagnosis.case import open_case
from companion.diagnosis.likelihood import OL
from companion.diagnosis.stopping import SURE


def after(complaint, *heard):
    case = open_case("heat-pump-air-handler", complaint)
    for test, outcome in heard:
        case = case.heard(test, outcome)
    return case.belief


def test_a_misheard_reading_does_not_stay_with_the_load():
    """W2's board input reads 571; once it was heard as 5710, and the coil alone is low."""
    belief = after(
        "nothing",
        ("ohms Y-C, base on", 15.5),
        ("ohms O-C, base on", 17.9),
        ("ohms R-C, base on", 99400.0),
        ("ohms G-C, base on", 2010.0),
        ("ohms W2-C, base on", 5710.0),
        ("ohms, fan relay coil alone", 98.7),
        ("ohms O-chassis at the board", 17.9),
        ("ohms, sequencer coil alone", 31.9),
        ("ohms W2-C, thermostat wire lifted", 570.0),
    )
    assert belief.by_part()["thermostat cable"] < 0.5


def test_of_two_readings_of_one_load_neither_is_believed_for_being_first():
    """310 for 3100, then 3100: the next reading of 3100 elsewhere speaks for no part."""
    belief = after(
        "opens",
        ("ohms O-C at the outdoor splice, cable side", 310.0),
        ("ohms O-C, outdoor wire lifted", 3100.0),
        ("ohms O-C, outdoor wire lifted", 3100.0),
    )
    assert belief.by_part()["outdoor cable"] < 0.5


def test_read_anew_after_others_counts_where_it_was_read_first():
    heard = [("ohms O-C at the board", 310.0), ("ohms Y-C at the board", 14.0),
             ("ohms O-C at the board", 31.0)]  # fmt: skip
    belief = after("opens", *heard)
    first = after("opens", heard[0], heard[2], heard[1])
    assert belief.chances == pytest.approx(first.chances, rel=1e-9)


def test_a_short_close_to_the_board_on_a_long_cable_is_on_the_cable():
    """Next to nothing from the board and 1.8 ohms from the far end: two ways along one wire."""
    belief = after(
        "opens",
        ("ohms O-C at the board", 0.4),
        ("ohms O-C, outdoor wire lifted", OL),
        ("ohms O-C at the outdoor splice, cable side", 1.9),
        ("ohms O-C at the outdoor splice, cable side", 1.7),
        ("ohms O-C, reversing valve coil off", 2.0),
    )
    assert belief.by_part()["outdoor cable"] > 0.9


def test_a_short_at_the_splice_is_not_taken_for_the_cable_by_a_few_tenths():
    belief = after(
        "opens",
        ("ohms O-C, base on", 1.0),
        ("ohms O-C at the thermostat", 1.5),
        ("ohms O-C, reversing valve coil off", 0.8),
        ("ohms O-C, reversing valve coil off", 0.7),
    )
    assert belief.by_part()["outdoor cable"] < SURE


def test_another_load_behind_swapped_wires_owes_nothing_to_the_one_that_was_read():
    belief = after(
        "opens",
        ("volts O-C, called", 0.2),
        ("ohms O-C at the board", 35.6),
        ("ohms O-C at the thermostat", 49.7),
        ("ohms O-C at the thermostat", 49.7),
    )
    assert belief.by_part()["reversing valve coil"] < 0.5


def test_open_to_chassis_on_every_circuit_means_only_that_common_is_not_bonded():
    short = (
        ("ohms O-C at the board", 0.3),
        ("ohms O-C, outdoor wire lifted", OL),
        ("ohms O-C at the outdoor splice, cable side", 1.9),
        ("ohms O-C at the outdoor splice, cable side", 1.7),
        ("ohms O-C, reversing valve coil off", 2.0),
    )
    to_chassis = tuple((f"ohms {t}-chassis at the board", OL) for t in ("O", "Y", "G", "W2"))
    belief = after("opens", *short, *to_chassis)
    assert belief.by_part()["outdoor cable"] > 0.9
    by_name = dict(belief.ranked())
    assert by_name["O: outdoor cable, short"] > 20 * by_name["O: outdoor cable, chassis"]
