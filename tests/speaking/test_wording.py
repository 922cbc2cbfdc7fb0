"""What the technician sees and what they hear, prompt by prompt."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import DataFileError
from companion.messages import Prompt
from companion.quantities import METER_SPAN_SI, Quantity
from companion.speaking.wording import to_ear, to_eye
from companion.understood import Reading


def ohms(value: float) -> Reading:
    return Reading(quantity="resistance", value_si=value)


def prompt(template: str, **slots: str | Reading) -> Prompt:
    return Prompt(role="ask", template=template, slots=slots)


OPEN = Reading(quantity="resistance", over_limit=True)


@pytest.mark.parametrize(
    ("reading", "eye", "ear"),
    [
        (ohms(0.5), "0.5 Ω", "zero point five ohms"),
        (ohms(0.15), "0.15 Ω", "zero point one five ohms"),
        (ohms(0), "0 Ω", "zero ohms"),
        (ohms(1), "1 Ω", "one ohm"),
        (ohms(12.4), "12.4 Ω", "twelve point four ohms"),
        (ohms(15), "15 Ω", "fifteen, one five, ohms"),
        (ohms(50), "50 Ω", "fifty, five zero, ohms"),
        (ohms(52), "52 Ω", "fifty two ohms"),
        (ohms(15.5), "15.5 Ω", "fifteen point five, one five point five, ohms"),
        (ohms(113), "113 Ω", "one hundred thirteen, one one three, ohms"),
        (ohms(1200), "1.2 kΩ", "one point two kilohms"),
        (ohms(1000), "1 kΩ", "one kilohm"),
        (ohms(2.5e6), "2.5 MΩ", "two point five megohms"),
        (Reading(quantity="voltage", value_si=27.3), "27.3 V", "twenty seven point three volts"),
        (Reading(quantity="voltage", value_si=0.03), "30 mV", "thirty, three zero, millivolts"),
        (Reading(quantity="current", value_si=0.022), "22 mA", "twenty two milliamps"),
        (Reading(quantity="current", value_si=1), "1 A", "one amp"),
        (OPEN, "OL", "O L, over limit"),
    ],
)
def test_a_reading_to_eye_and_ear(reading: Reading, eye: str, ear: str) -> None:
    asked = prompt("{reading}. Is that right?", reading=reading)
    assert to_eye(asked) == f"{eye}. Is that right?"
    assert to_ear(asked) == f"{ear}. Is that right?"


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("One lead on C, the other on Y1.", "One lead on C, the other on Y one."),
        ("Read R–C in volts.", "Read R to C in volts."),
        ("Read Y1–C, then W2–C.", "Read Y one to C, then W two to C."),
        ("Is a wire on O/B?", "Is a wire on O B?"),
        ("Rc and Rh are joined.", "R C and R H are joined."),
        ("Lift DH, then HUM.", "Lift D H, then hum."),
        ("Does it show OL?", "Does it show O L, over limit?"),
        ("S1/S2 is the outdoor sensor.", "S one, S two is the outdoor sensor."),
        ("Fit a 3-A fuse.", "Fit a three amp fuse."),
        ("Fit a 15-A breaker.", "Fit a fifteen, one five, amp breaker."),
        ("It may draw 1.67 A.", "It may draw one point six seven amps."),
        ("A good coil reads 12–16 Ω.", "A good coil reads twelve to sixteen ohms."),
        ("Look 55 ft down the cable.", "Look fifty five feet down the cable."),
        ("The cable is 18 AWG.", "The cable is eighteen, one eight, gauge."),
        ("The parts add up to 52 VA.", "The parts add up to fifty two volt amps."),
        ("Close it 3 times.", "Close it three times."),
        ("Expect 24 V AC.", "Expect twenty four volts AC."),
        ("The meter shows -0.2 Ω.", "The meter shows minus zero point two ohms."),
        ("A spark alone is no proof.", "A spark alone is no proof."),
        ("Is the O-ring wet?", "Is the O-ring wet?"),
        ("Step 1.2.3 of form R22B.", "Step 1.2.3 of form R22B."),
    ],
)
def test_a_line_of_a_dialog_said(written: str, said: str) -> None:
    assert to_eye(prompt(written)) == written
    assert to_ear(prompt(written)) == said


def test_slots_and_words_join_before_they_are_said() -> None:
    asked = prompt("{where}–C reads {reading}?", where="W1", reading=ohms(0.5))
    assert to_eye(asked) == "W1–C reads 0.5 Ω?"
    assert to_ear(asked) == "W one to C reads zero point five ohms?"


def test_a_slot_nothing_fills_is_told_with_its_line() -> None:
    with pytest.raises(DataFileError, match=r"Read \{where\}.*expected a value for \{where\}"):
        to_ear(prompt("Read {where} to C."))


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    quantity: Quantity = draw(st.sampled_from(["resistance", "voltage", "current"]))
    least, most = METER_SPAN_SI[quantity]
    return Reading(quantity=quantity, value_si=draw(st.floats(least, most)))


@given(readings())
def test_every_reading_is_said_in_words_with_one_unit(reading: Reading) -> None:
    ear = to_ear(prompt("{reading}", reading=reading))
    assert re.fullmatch(r"[a-z ,]+", ear)
    unit = r"(kil|meg)?ohms?|(milli)?volts?|(milli)?amps?"
    assert re.search(rf" ({unit})$", ear)
    assert len(re.findall(rf"\b({unit})\b", ear)) == 1


@given(readings(), readings())
def test_two_readings_that_look_different_sound_different(one: Reading, other: Reading) -> None:
    looks, sounds = ([f(prompt("{r}", r=r)) for r in (one, other)] for f in (to_eye, to_ear))
    assert (looks[0] == looks[1]) == (sounds[0] == sounds[1])
