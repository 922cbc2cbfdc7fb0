"""Source, fuse and coil. Sums of our own formulas guard against slips; the rest are properties."""

from math import isinf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.circuit.coils import (
    at_temperature,
    impedance_ohm,
    judge_coil,
    reactance_ohm,
    with_shorted_turns,
)
from companion.circuit.fuses import against_marking, blade, opening_chance
from companion.circuit.meter import display, limit
from companion.circuit.supply import (
    coil_volt,
    drop_volt,
    most_protection_ampere,
    pull_in_volt,
    rated_ampere,
    short_circuit_ampere,
    source_ohm,
    va_budget,
)
from companion.circuit.tables import meter


@pytest.mark.parametrize(("va", "ampere"), [(20, 0.833), (40, 1.667), (50, 2.083), (75, 3.125)])
def test_rated_current(va, ampere):
    """Guards against slips: I = S/V."""
    assert rated_ampere(va) == pytest.approx(ampere, abs=0.001)


def test_reference_source_and_its_shorts():
    """Guards against slips: 27 V to 24 V at 40 VA is 1.8 ohm; 15 A bolted, 10.8 A behind 0.7."""
    assert source_ohm(27.0, 40.0) == pytest.approx(1.8)
    assert short_circuit_ampere(27.0, 1.8, 0.0) == pytest.approx(15.0)
    assert short_circuit_ampere(27.0, 1.8, 0.7) == pytest.approx(10.8)
    with pytest.raises(ValueError, match="below the rated"):
        source_ohm(23.0, 40.0)


def test_voltage_drop_and_far_coil():
    """Guards against slips: 1.25 A over 150 ft of 18 AWG drops 2.394 V; 85 % of 24 is 20.4."""
    assert drop_volt(1.25, 18, 150.0) == pytest.approx(2.394, abs=0.005)
    assert pull_in_volt() == pytest.approx(20.4)
    coil = (12.0, reactance_ohm(impedance_ohm(30.0), 12.0))
    near, far = (coil_volt(27.0, 1.8, wire, coil) for wire in (0.0, 8.0))
    assert near > pull_in_volt() > far


@pytest.mark.parametrize(("loads_va", "verdict"),
                         [({"a": (10, 10)}, "fits"), ({"a": (30, 36)}, "tight"),
                          ({"a": (30, 30), "b": (5, 15)}, "may overload"),
                          ({"dampers": (30, 30), "rest": (24, 24)}, "overload")])  # fmt: skip
def test_budget(loads_va, verdict):
    assert va_budget(loads_va, 40.0).verdict == verdict


def test_class_2_band_has_edges():
    with pytest.raises(ValueError, match="outside the band"):
        most_protection_ampere(31.0)


def test_three_amperes_do_not_protect_forty_va_from_overload():
    """Guards against slips: 2.25 A is 75 % of a 3 A fuse, and 135 % of the transformer."""
    assert blade(2.25, 3.0).opening == "carries"
    assert va_budget({"all": (54.0, 54.0)}, 40.0).share[0] == pytest.approx(1.35)


@pytest.mark.parametrize(
    ("ampere", "opening"),
    [(3.0, "carries"), (3.6, "may open"), (4.5, "opens slowly"), (10.6, "opens quickly")],
)
def test_fuse_bands(ampere, opening):
    """Guards against slips: bands of fuses.toml for a 3 A fuse."""
    assert blade(ampere, 3.0).opening == opening


@given(st.floats(1.36, 20.0), st.floats(1.36, 20.0))
def test_more_current_never_opens_later(one, other):
    less, more = sorted((one, other))
    assert blade(3 * more, 3.0).most_s <= blade(3 * less, 3.0).most_s * (1 + 1e-9)
    assert opening_chance(more, 5.0) >= opening_chance(less, 5.0) - 1e-9
    assert blade(3 * more, 3.0).least_s <= blade(3 * more, 3.0).most_s


@given(st.floats(0.0, 1.1))
def test_nothing_opens_a_fuse_up_to_110_percent(multiple):
    assert isinf(blade(multiple * 5.0, 5.0).least_s)
    assert opening_chance(multiple, 1e5) == 0.0


@pytest.mark.parametrize(("fitted", "said"), [(3.0, "same"), (10.0, "over"), (2.0, "under")])
def test_the_marking_decides(fitted, said):
    assert against_marking(fitted, 3.0) == said


def test_shorted_turns_show_in_amperes_before_they_show_in_ohms():
    """Guards against slips: a tenth of the turns, 10 % less DC, 36 % more current."""
    x = reactance_ohm(impedance_ohm(7.0), 12.0)
    whole, tenth = (with_shorted_turns(12.0, x, p, 0.9) for p in (0.0, 0.1))
    assert abs(whole) / abs(tenth) == pytest.approx(1.356, abs=0.01)
    with pytest.raises(ValueError, match="share"):
        with_shorted_turns(12.0, x, 1.0, 0.9)


@given(st.floats(0.02, 0.45), st.floats(0.02, 0.45))
def test_more_shorted_turns_never_draw_less(one, other):
    fewer, more = sorted((one, other))
    z = [abs(with_shorted_turns(12.0, 81.4, p, 0.9)) for p in (fewer, more)]
    assert z[1] <= z[0] * (1 + 1e-9)


def test_a_hot_coil():
    """Guards against slips: 14 ohms at 20 C are 16.2 at 60 C."""
    assert at_temperature(14.0, 60.0) == pytest.approx(16.2, abs=0.01)


@pytest.mark.parametrize(("net", "family", "verdict"),
                         [(0.5, "contactor", "dead short"),
                          (4.2, "contactor", "shorted turns suspected"),
                          (4.2, "large contactor", "plausible"),  # the same ohms, a bigger part
                          (13.0, "contactor", "plausible"),
                          (None, "contactor", "open or other part")])  # fmt: skip
def test_coils_by_their_own_family(net, family, verdict):
    assert judge_coil(net, family).verdict == verdict


def test_the_label_comes_before_the_family():
    assert judge_coil(4.2, "contactor", healthy_ohm=(3.5, 5.0)).verdict == "plausible"


def test_meter_limit_and_display():
    """Guards against slips: 0.9 % of 1.1 and two counts of 0.1 are 0.2099."""
    span = meter().ohms
    assert limit(1.1, span) == pytest.approx(0.2099)
    assert display(0.66, span) == pytest.approx(0.7)
    assert display(1503.2, span) == pytest.approx(1503.0)
    assert display(60e6, span) is None
