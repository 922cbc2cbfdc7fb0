"""Units at the edges."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.quantities import display, factor_to_si, quantity_of
from companion.understood import Reading


@pytest.mark.parametrize(
    ("unit", "quantity", "factor"),
    [
        ("ohm", "resistance", 1.0),
        ("kiloohm", "resistance", 1e3),
        ("megaohm", "resistance", 1e6),
        ("volt", "voltage", 1.0),
        ("millivolt", "voltage", 1e-3),
        ("ampere", "current", 1.0),
        ("milliampere", "current", 1e-3),
    ],
)
def test_prefixes_of_the_si_brochure(unit, quantity, factor):
    """SI Brochure, 9th edition, table 7 (number of the table from memory)."""
    assert quantity_of(unit) == quantity
    assert factor_to_si(unit) == factor


@pytest.mark.parametrize(
    ("value_si", "quantity", "text"),
    [(0.5, "resistance", "0.5 Ω"), (1200.0, "resistance", "1.2 kΩ"), (3e6, "resistance", "3 MΩ"),
     (26.8, "voltage", "26.8 V"), (0.022, "current", "22 mA"), (0.0, "voltage", "0 V"),
     (0.05, "resistance", "0.05 Ω")],
)  # fmt: skip
def test_display(value_si, quantity, text):
    assert display(value_si, quantity) == text


@given(st.integers(0, 999_999), st.integers(0, 4))
def test_display_rounds_nothing_that_a_meter_shows(digits, places):
    value = digits / 10**places
    shown = display(value, "resistance")
    number, unit = shown.split(" ")
    assert float(number) * {"Ω": 1, "kΩ": 1e3, "MΩ": 1e6}[unit] == pytest.approx(value, rel=1e-12)


def test_a_reading_is_a_value_or_over_limit():
    with pytest.raises(ValueError, match="one of the two"):
        Reading(quantity="resistance")
    with pytest.raises(ValueError, match="one of the two"):
        Reading(quantity="resistance", value_si=1.0, over_limit=True)
