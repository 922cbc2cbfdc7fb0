"""A house of known values. Rows marked so restate our own model and guard against slips."""

import numpy as np
import pytest

from companion.circuit.network import Network
from companion.diagnosis.case import open_case
from companion.diagnosis.hypotheses import ELSE, hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.likelihood import OPEN_OHM
from companion.diagnosis.nuisance import BOARDS
from companion.diagnosis.tables import priors
from companion.diagnosis.trust import normal_cdf, rough_cdf
from companion.equipment import all_equipment
from tests.diagnosis.worlds import reference_house, row

HOUSE = reference_house()


def mean(hypothesis, test):
    """With the board's own input beside each load."""
    by_board = HOUSE.belief.predictor.of(test).mean
    return float(by_board[BOARDS.index("beside"), row(HOUSE, hypothesis), 0])


# Guards against slips: a contactor of sqrt(8 x 20) = 12.65 ohms beside a 1500 ohm input,
# behind 50 ft of 18 AWG at 30 C (0.66 ohm) and 0.2 ohm of contacts; faults of 0.02 ohm at 25 ft.
@pytest.mark.parametrize(
    ("hypothesis", "test", "ohms"),
    [
        ("none now, history", "ohms Y-C at the board", 13.4),
        ("Y: outdoor cable, short", "ohms Y-C at the board", 0.35),
        ("Y: outdoor splice, short", "ohms Y-C at the board", 0.68),
        ("Y: contactor coil, dead coil", "ohms Y-C at the board", 0.88),
        ("Y: contactor coil, turns", "ohms Y-C at the board", 5.05),
        ("Y: outdoor cable, chassis", "ohms Y-C at the board", 0.20),
        ("Y: outdoor splice, short", "ohms Y-C at the outdoor splice, cable side", 1500.0),
        ("Y: outdoor cable, short", "ohms Y-C, outdoor wire lifted", 1500.0),
        ("Y: board, short", "ohms Y-C, both wires lifted", 0.02),
        ("R: thermostat cable, short", "ohms R-C at the board", 0.41),
    ],
)
def test_ohms(hypothesis, test, ohms):
    assert mean(hypothesis, test) == pytest.approx(ohms, rel=0.03, abs=0.01)


@pytest.mark.parametrize(
    ("hypothesis", "test"),
    [("none now, history", "ohms R-C at the board"),
     ("Y: outdoor cable, short", "ohms R-C at the board"),
     ("none now, history", "ohms Y-chassis at the outdoor splice")],
)  # fmt: skip
def test_nothing_there_reads_over_limit(hypothesis, test):
    assert mean(hypothesis, test) > OPEN_OHM


def test_a_splice_and_its_cable_part_when_it_is_opened():
    at = "ohms Y-C at the outdoor splice, cable side"
    assert mean("Y: outdoor cable, short", at) < 1.0 < 1000.0 < mean("Y: outdoor splice, short", at)


def test_a_pinched_base_is_gone_when_the_base_is_off():
    off, on = (
        mean("W: thermostat, short", f"ohms W-C{at}") for at in (" at the board", ", base on")
    )
    assert on < 2.0 < off


def test_breaker_trips_on_a_short_and_runs_a_good_load():
    words = HOUSE.belief.predictor.of("breaker, R to Y").words
    trips, runs = words[:, 0, 0], words[:, 0, 1]
    assert trips[row(HOUSE, "Y: outdoor cable, short")] > 0.9
    assert runs[row(HOUSE, "none now, history")] > 0.9
    assert runs[row(HOUSE, "Y: contactor coil, dead coil")] < 0.1


def test_lamp_is_bright_on_a_short_and_not_on_a_good_coil():
    """The trap of the series lamp: a contactor that can't pull in behind it glows, not bright."""
    words = HOUSE.belief.predictor.of("lamp, R to Y").words
    assert words[row(HOUSE, "Y: outdoor cable, short"), 0, 0] > 0.9
    assert words[row(HOUSE, "none now, history"), 0, 0] < 0.1


def test_overload_draws_more_and_opens_nothing():
    amps = HOUSE.belief.predictor.of("amps, all calling")
    overload, healthy = (row(HOUSE, n) for n in ("R: accessory, overload", "none now, history"))
    assert amps.mean[overload, 0] > amps.mean[healthy, 0] + 1.0
    assert amps.none[overload, 0] < 0.5


def test_a_lost_outdoor_common_feeds_back_through_the_other_load():
    """Y called alone puts nearly all its voltage on O when both have lost common outdoors."""
    case = open_case("heat-pump-air-handler", "nothing")
    volts = case.belief.predictor.of("volts O-C, R to Y").mean
    lost, whole = row(case, "C: outdoor cable, open"), row(case, "none now, history")
    assert volts[lost].min() > 18.0
    assert volts[whole].max() < 2.5


def test_ghost_voltage():
    """Guards against slips: 0.5 and 0.7 nF, 10 Mohm, 24 V, 60 Hz: 9.76 V; 3 kohm: next to none."""

    def ghost(farad_1, farad_2, meter_ohm):
        net = Network("C")
        net.source("R", "C", 24.0)
        net.join("R", "t", 1 / (2j * np.pi * 60.0 * farad_1))
        net.join("t", "C", 1 / (2j * np.pi * 60.0 * farad_2))
        net.join("t", "C", meter_ohm)
        return abs(net.solve()["t"])

    assert ghost(0.5e-9, 0.7e-9, 10e6) == pytest.approx(9.76, abs=0.02)
    assert ghost(1e-9, 1e-9, 3000.0) == pytest.approx(0.027, abs=0.001)


@pytest.mark.parametrize("profile", sorted(all_equipment()))
@pytest.mark.parametrize("complaint", ["opens", "nothing"])
def test_hypotheses(profile, complaint):
    rows = hypotheses(Layout(all_equipment()[profile]), priors(), complaint)
    assert sum(h.weight for h in rows) == pytest.approx(1.0)
    assert len({h.name for h in rows}) == len(rows)
    assert all(h.source and h.weight > 0 for h in rows)
    assert rows[-1].name == ELSE
    pairs = [h for h in rows if len(h.parts) == 2]
    assert pairs
    assert max(h.weight for h in pairs) < max(h.weight for h in rows)


def test_history_makes_its_parts_likelier():
    layout = Layout(all_equipment()["cooling-gas-furnace"])
    plain, wet = (
        sum(h.weight for h in hypotheses(layout, priors(), "opens", history)
            if h.part_kinds == {"splice"})
        for history in ((), ("after rain",))
    )  # fmt: skip
    assert wet > 2.0 * plain
    with pytest.raises(KeyError):
        hypotheses(layout, priors(), "opens", ("full moon",))


@pytest.mark.parametrize(("x", "p"), [(0.0, 0.5), (1.0, 0.8413447), (1.96, 0.9750021),
                                      (-3.0, 0.0013499)])  # fmt: skip
def test_normal_distribution(x, p):
    """Abramowitz and Stegun, table 26.1."""
    assert normal_cdf(np.array(x)) == pytest.approx(p, abs=1e-7)


def test_the_rough_distribution_keeps_to_its_bound():
    x = np.linspace(-8.0, 8.0, 4001)
    assert np.abs(rough_cdf(x) - normal_cdf(x)).max() < 2e-4
