"""Copper against published tables, each named beside its value."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.circuit.copper import METRES_PER_FOOT, diameter_m, loop_ohms, ohms_per_metre

KILOFOOT_M = 1000 * METRES_PER_FOOT

# NBS Handbook 100, Copper Wire Tables: solid, annealed, 20 C, ohms per 1000 ft.
NBS_HANDBOOK_100 = {18: 6.385, 20: 10.15, 22: 16.14, 24: 25.67}

# NEC 2023 chapter 9 table 8: solid, uncoated copper, 75 C, ohms per 1000 ft.
NEC_CH9_TABLE_8 = {18: 7.77, 16: 4.89, 14: 3.07, 12: 1.93}

# ASTM B258: nominal diameters in mm.
ASTM_B258_MM = {-3: 11.684, 18: 1.0237, 24: 0.5106, 36: 0.1270}


@pytest.mark.parametrize(("awg", "ohms"), NBS_HANDBOOK_100.items())
def test_at_20_c(awg, ohms):
    assert ohms_per_metre(awg) * KILOFOOT_M == pytest.approx(ohms, rel=0.001)


@pytest.mark.parametrize(("awg", "ohms"), NEC_CH9_TABLE_8.items())
def test_at_75_c(awg, ohms):
    assert ohms_per_metre(awg, 75.0) * KILOFOOT_M == pytest.approx(ohms, rel=0.005)


@pytest.mark.parametrize(("awg", "mm"), ASTM_B258_MM.items())
def test_diameters(awg, mm):
    assert diameter_m(awg) * 1e3 == pytest.approx(mm, rel=0.0005)


def test_temperature_factor_of_nec_table_8_note():
    """R2 = R1 [1 + 0.00323 (T2 - 75)], NEC 2023 chapter 9 table 8 note 2."""
    ratio = ohms_per_metre(18, 40.0) / ohms_per_metre(18, 75.0)
    assert ratio == pytest.approx(1 + 0.00323 * (40 - 75), rel=0.001)


@given(st.integers(-3, 37))
def test_three_gauges_halve_the_area(awg):
    """92^(6/39) = 2.005: arithmetic from the ASTM B258 formula."""
    assert ohms_per_metre(awg + 3) / ohms_per_metre(awg) == pytest.approx(2.005, abs=0.001)


def test_loop_goes_out_and_back():
    """Arithmetic: 50 ft of 18 AWG at 20 C is 2 x 50/1000 x 6.385."""
    assert loop_ohms(18, 50.0) == pytest.approx(0.6385, rel=0.001)


@pytest.mark.parametrize("awg", [-4, 41])
def test_gauges_outside_the_standard_are_refused(awg):
    with pytest.raises(ValueError, match="AWG"):
        diameter_m(awg)
