"""Values that others published, each with its source. See the other files for our own sums."""

from cmath import phase
from itertools import combinations
from math import degrees, isinf, sqrt

import pytest

from companion.circuit.copper import METRES_PER_FOOT, RHO_20C_OHM_M, loop_ohms, ohms_per_metre
from companion.circuit.fuses import blade
from companion.circuit.network import Network
from companion.circuit.supply import most_protection_ampere, pull_in_volt
from companion.circuit.tables import fuses, loads
from companion.circuit.uncertainty import Term, combine, rectangular, resolution


@pytest.mark.parametrize(
    ("awg", "feet"), [(18, 78.3), (20, 49.3), (22, 31.0), (24, 19.5)]
)  # fmt: skip
def test_feet_of_cable_to_a_loop_ohm(awg, feet):
    """500 over the ohms per 1000 ft of NBS Handbook 100: 6.385, 10.15, 16.14, 25.67."""
    assert 1.0 / loop_ohms(awg, 1.0) == pytest.approx(feet, abs=0.06)


def test_cable_standard_temperature_factor():
    """IEC 60228 table of correction factors, 75 C to 20 C: 0.820."""
    ratio = ohms_per_metre(18, 20.0) / ohms_per_metre(18, 75.0)
    assert ratio == pytest.approx(0.820, rel=0.003)


def _network(*branches):
    net = Network("0")
    for a, b, ohm in branches:
        net.join(a, b, ohm)
    return net


def test_unbalanced_bridge():
    """A worked web answer on unbalanced Wheatstone bridges: 1 to 5 ohms, 155/74."""
    net = _network(("t", "a", 1), ("t", "b", 3), ("a", "0", 2), ("b", "0", 4), ("a", "b", 5))
    assert net.ohms("t", "0") == pytest.approx(155 / 74)


@pytest.mark.parametrize(("corner", "ohms"), [("001", 7 / 12), ("011", 3 / 4), ("111", 5 / 6)])
def test_cube_of_one_ohm_edges(corner, ohms):
    """The cube of resistors, in any collection of physics problems (from memory)."""
    corners = [f"{n:03b}" for n in range(8)]
    net = Network("000")
    for a, b in combinations(corners, 2):
        if sum(x != y for x, y in zip(a, b, strict=True)) == 1:
            net.join(a, b, 1.0)
    assert net.ohms(corner, "000") == pytest.approx(ohms)


def test_endless_ladder_is_the_golden_ratio():
    """Ladder of one-ohm rungs and rails: (1 + sqrt 5)/2; Feynman Lectures II-22-6 for its form."""
    rails = [(f"{n}", f"{n + 1}", 1.0) for n in range(1, 40)]
    rungs = [(f"{n}", "0", 1.0) for n in range(2, 41)]
    assert _network(*rails, *rungs).ohms("1", "0") == pytest.approx((1 + sqrt(5)) / 2)


def test_resistor_and_inductor_in_series():
    """An electronics course's example: 10 k and 15.9 kj in series, 18.78 k at 57.8 degrees."""
    z = _network(("1", "2", 10e3), ("2", "0", 15.9e3j)).ohms("1", "0")
    assert abs(z) == pytest.approx(18.78e3, rel=1e-3)
    assert degrees(phase(z)) == pytest.approx(57.8, abs=0.05)


def test_gum_temperature_within_limits():
    """JCGM 100, 4.4.5: between 96 and 104 C, all as likely: 2.3 C (from memory)."""
    assert rectangular(4.0) == pytest.approx(2.3, abs=0.01)


def test_gum_display_step():
    """JCGM 100, F.2.2.1: 0.29 of the step (from memory)."""
    assert resolution(1.0) == pytest.approx(0.29, abs=0.002)


def test_gum_end_gauge():
    """JCGM 100, table H.1: 25, 9.7, 2.9 and 16.6 nm combine to 32 nm (from memory)."""
    terms = [Term("", u, 1.0, "H.1") for u in (25.0, 9.7, 2.9, 16.6)]
    assert combine(0.0, "nm", terms).standard == pytest.approx(32.0, abs=0.5)


def test_gum_ten_resistors():
    """JCGM 100, 5.2.2: ten of 1000 ohms with 100 mohm each, uncorrelated: 0.32 ohm (memory)."""
    terms = [Term("", 0.1, 1.0, "5.2.2")] * 10
    assert combine(10e3, "ohm", terms).standard == pytest.approx(0.32, abs=0.005)


@pytest.mark.parametrize(("multiple", "most_s"), [(1.35, 3600.0), (2.0, 120.0)])
def test_blade_fuse_within_the_general_limits_for_fuses(multiple, most_s):
    """UL 248-14 as a maker's guide states it: 135 % within an hour, 200 % within two minutes."""
    assert blade(3.0 * multiple, 3.0).most_s <= most_s


def test_a_fuse_carries_its_rating():
    """UL 248-14, same guide: 100 % is carried."""
    assert isinf(blade(3.0, 3.0).least_s)


def test_class_2_protection_by_formula():
    """NEC chapter 9 table 11(A): 100/Vmax, so 4.17 A at 24 V and 3.33 A at 30 V (from memory)."""
    assert most_protection_ampere(24.0) == pytest.approx(4.17, abs=0.005)
    assert most_protection_ampere(30.0) == pytest.approx(3.33, abs=0.005)


def test_a_published_relay_is_in_its_family():
    """A published general-purpose relay for 24 V AC has a coil of 177 ohms."""
    least, most = loads().of("relay").ohms
    assert least <= 177.0 <= most


@pytest.mark.parametrize("ohm", [12.0, 14.0, 16.0])
def test_contactors_as_technicians_state_them(ohm):
    """Common practice, no source: 12 to 16 ohms is a good contactor coil."""
    least, most = loads().of("contactor").ohms
    assert least <= ohm <= most


def test_annealed_copper_standard():
    """IEC 60028: 1/58 ohm mm2/m at 20 C, 100 % IACS (a summary)."""
    assert pytest.approx(1e-6 / 58.0, rel=1e-4) == RHO_20C_OHM_M


@pytest.mark.parametrize(("construction", "ohms"), [("solid", 7.77), ("stranded", 7.95)])
def test_stranded_wire_reads_more(construction, ohms):
    """NEC chapter 9 table 8: 18 AWG, uncoated, 75 C, ohms per 1000 ft."""
    per_metre = ohms_per_metre(18, 75.0, "copper", construction)
    assert per_metre * METRES_PER_FOOT * 1000.0 == pytest.approx(ohms, rel=0.003)


def test_contactors_pull_in_at_85_percent():
    """IEC 60947-4-1 operating limits: 85 % of rated, 20.4 V of 24 V (from memory)."""
    assert pull_in_volt(24.0) == pytest.approx(20.4)


def test_control_wire_ceilings():
    """NEC 2008, 725.43: Class 1 wire of 18 AWG at 7 A, of 16 AWG at 10 A."""
    ceiling = fuses().wire_ceiling
    assert (ceiling.awg_18_ampere, ceiling.awg_16_ampere) == (7.0, 10.0)


@pytest.mark.parametrize(("ampere", "colour"), [(3.0, "violet"), (5.0, "tan"), (10.0, "red")])
def test_blade_fuse_colours(ampere, colour):
    """ISO 8820-3, the colours of ratings (from memory)."""
    assert colour in {c.colour for c in fuses().blade.colour if c.rating_ampere == ampere}
