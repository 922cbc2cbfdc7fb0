"""The choice of tests: information by others' examples, half-split, cost, optimum, stopping."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, settings
from hypothesis import given as for_all
from hypothesis import strategies as st

from companion.diagnosis.case import open_case
from companion.diagnosis.choosers import (
    CLEARLY_MORE,
    by_entropy,
    by_fixed_order,
    by_gain_per_cost,
    by_plan,
)
from companion.diagnosis.endgame import Few, few, minutes_to_the_end
from companion.diagnosis.gain import _cells, entropy_bits, expected_gain, outlook
from companion.diagnosis.likelihood import OL
from companion.diagnosis.optimum import expected, optimum, small_case
from companion.diagnosis.stopping import SURE, verdict
from companion.diagnosis.tabled import table_of
from companion.equipment import all_equipment
from tests.diagnosis.worlds import chain, given

HORSES = [1 / 2, 1 / 4, 1 / 8, 1 / 16, 1 / 64, 1 / 64, 1 / 64, 1 / 64]


def subsets(count):
    """Every yes/no question about which one it is."""
    return {
        f"ask {bits:b}": [[1.0, 0.0] if bits >> i & 1 else [0.0, 1.0] for i in range(count)]
        for bits in range(1, 2 ** (count - 1))
    }


def whole_small(case):
    names = list(case.belief.predictor.tests)
    return small_case(case, range(len(case.belief.predictor.hypotheses)), names)


@pytest.mark.parametrize(("chances", "bits"), [
    (HORSES, 2.0),               # Cover and Thomas, Elements of Information Theory, 1.1 (memory)
    ([1 / 8] * 8, 3.0),          # the same: a uniform field of eight
    ([0.11, 0.89], 0.5),         # textbook capacity of the binary symmetric channel, 1 - H(.11)
])  # fmt: skip
def test_entropy_as_published(chances, bits):
    assert entropy_bits(np.array(chances)) == pytest.approx(bits, abs=2e-3)


def test_gain_guards_against_slips():
    """Guards against slips: .5/.3/.2, yes by .97/.03/.03, 0.806 bits."""
    case = given([0.5, 0.3, 0.2], {"t": [[0.97, 0.03], [0.03, 0.97], [0.03, 0.97]]})
    assert expected_gain(case, ["t"])[0] == pytest.approx(0.8056, abs=5e-4)


@pytest.mark.parametrize("heard", [(), (("breaker, R to Y", "trips"),)])
def test_gain_on_real_equipment_is_what_the_whole_tables_give(heard):
    """Mutual information by its definition, over every cell that steers the choice."""
    case = open_case("packaged-unit")
    for told in heard:
        case = case.heard(*told)
    predictor, cells = case.belief.predictor, _cells(case)
    rows, columns = np.divmod(cells.flat, case.belief.weight.shape[1])
    uneven = len(set(np.bincount(rows)[cells.rows])) > 1
    assert uneven == bool(heard)
    whole = [sorted(predictor.hypotheses[row].parts) for row in rows]
    sets = [np.array([parts == one for parts in whole]) for one in
            {tuple(parts): parts for parts in whole}.values()]  # fmt: skip
    names = [n for n in predictor.tests if n not in dict(heard) and not case.belief.touched(n)]
    for name, bits in zip(names, expected_gain(case, names), strict=True):
        table = table_of(predictor, case.belief.trust, name)[rows, columns]
        joint = np.array([cells.weight[one] @ table[one] for one in sets])
        apart = np.outer(joint.sum(axis=1), joint.sum(axis=0))
        told = (joint * np.log2(joint / apart, where=joint > 0, out=np.zeros_like(joint))).sum()
        assert bits == pytest.approx(told, abs=1e-4), name


def test_optimum_is_huffmans():
    """With every yes/no question at one price, the best plan is a Huffman code (1952).

    Example of many textbooks: .4 .2 .2 .1 .1 takes 2.2 questions on average.
    """
    small = whole_small(given([0.4, 0.2, 0.2, 0.1, 0.1], subsets(5)))
    price = small.minutes(next(iter(small.belief.predictor.tests)))
    assert optimum(small) / price == pytest.approx(2.2, abs=1e-9)
    assert expected(small, by_entropy).tests <= 2.4


@pytest.mark.parametrize("choose", [by_entropy, by_gain_per_cost, by_plan])
def test_half_split_falls_out(choose):
    """Seven splices in a row, one shorted, each as likely: the middle is opened first."""
    case = chain(7)
    names = list(case.belief.predictor.tests)
    assert choose(case, names) in {"open splice 3", "open splice 4"}


def test_half_split_goes_on_halving():
    case = chain(7)
    names = list(case.belief.predictor.tests)
    first = by_entropy(case, names)
    nearer = case.heard(first, 0.5)  # the short stays on the cable's side
    middle = int(first.split()[-1])
    assert int(by_entropy(nearer, names).split()[-1]) < middle


def test_what_agrees_is_worth_no_second_reading_and_what_turns_belief_is():
    """Said again, a reading tells only whether it was heard right."""
    name, agrees, turns = "volts W-C, called", 25.8, 0.0
    start = open_case("cooling-gas-furnace")
    fresh = expected_gain(start, [name])[0]
    again = {v: expected_gain(start.heard(name, v), [name])[0] for v in (agrees, turns)}
    assert again[agrees] < 0.02 * fresh
    assert again[turns] > 3 * again[agrees]


def test_what_was_confirmed_is_worth_less_of_a_second_reading():
    name = "ohms Y-C at the board"
    case = open_case("cooling-gas-furnace")
    said, confirmed = (
        expected_gain(case.heard(name, 0.6, confirmed=yes), [name])[0] for yes in (False, True)
    )
    assert confirmed < 0.5 * said


def test_what_was_confirmed_is_not_asked_for_again_right_away():
    """Not before another test was done; what was only said may be."""
    name, other = "ohms Y-C at the board", "ohms G-C at the board"
    case = open_case("cooling-gas-furnace")
    assert name in case.heard(name, 0.6).open()
    confirmed = case.heard(name, 0.6, confirmed=True)
    assert name not in confirmed.open()
    assert other in confirmed.open()
    assert name in confirmed.heard(other, 60.0).open()


ACROSS = "ohms across the pressure switch on Y"


@pytest.mark.parametrize(("second", "third"), [(OL, True), (0.1, False), (0.2, False)])
def test_two_readings_that_contradict_are_parted_by_a_third(second, third):
    case = open_case("packaged-unit", "nothing").heard(ACROSS, 0.1)
    again = case.heard(ACROSS, second)
    assert ACROSS in case.open()
    assert (ACROSS in again.open()) == third
    assert ACROSS not in again.heard(ACROSS, 0.1).open()


def test_a_third_reading_is_worth_something_only_where_two_contradict():
    case = open_case("packaged-unit", "nothing").heard("breaker, R to Y", "nothing")
    case = case.heard(ACROSS, 0.1)
    apart, alike = (expected_gain(case.heard(ACROSS, v), [ACROSS])[0] for v in (OL, 0.1))
    assert apart > 10 * alike


def test_a_lamp_that_agrees_is_not_asked_for_again():
    case = open_case("cooling-gas-furnace").heard("ohms Y-C at the board", 0.6)
    lit = case.heard("lamp, R to Y", "bright")
    fresh, again = (expected_gain(c, ["lamp, R to Y"])[0] for c in (case, lit))
    assert again < 0.2 * fresh


def test_a_dear_test_waits_for_a_cheap_one():
    """Once dead and with the base off, the board comes before the walk."""
    case = open_case("cooling-gas-furnace").heard("ohms Y-C at the board", 0.7)
    board, unit = "ohms Y-C, outdoor wire lifted", "ohms Y-C at the outdoor splice, cable side"
    assert case.minutes(unit) > 3 * case.minutes(board)
    assert by_gain_per_cost(case, [unit, board]) == board


def test_only_what_is_allowed_is_chosen():
    case = open_case("cooling-gas-furnace")
    allowed = ["ohms G-C at the board", "ohms W-C at the board"]
    for choose in (by_entropy, by_gain_per_cost, by_plan, by_fixed_order):
        assert choose(case, allowed) in allowed
        assert choose(case, []) is None


@settings(max_examples=25, deadline=None)
@for_all(st.lists(st.floats(0.05, 1.0), min_size=3, max_size=5), st.randoms(use_true_random=False))
def test_gain_is_never_below_zero_nor_above_what_is_unknown(weights, random):
    weights = np.array(weights) / sum(weights)
    yes = [random.random() for _ in weights]
    case = given(list(weights), {"t": [[p, 1 - p] for p in yes]})
    gain = expected_gain(case, ["t"])[0]
    assert -1e-6 <= gain <= entropy_bits(weights) + 1e-6


@settings(max_examples=15, deadline=None)
@for_all(st.integers(0, 10**6))
def test_nothing_beats_the_optimum(seed):
    case = open_case("cooling-gas-furnace", "nothing")
    rng = np.random.default_rng(seed)
    tests = list(case.belief.predictor.tests)
    rows = rng.choice(38, 5, replace=False)
    names = [str(n) for n in rng.choice(tests, 8, replace=False)]
    small = small_case(case, [int(r) for r in rows], names)
    best = optimum(small)
    for choose in (by_entropy, by_gain_per_cost, by_plan):
        assert expected(small, choose).minutes >= best - 1e-6


@settings(max_examples=15, deadline=None)
@for_all(st.integers(0, 10**6))
def test_planned_to_the_end_it_costs_what_the_optimum_does(seed):
    """Two ways to the same figure: subsets a size at a time, and by recursion."""
    case = open_case("packaged-unit", "nothing")
    rng = np.random.default_rng(seed)
    rows = [int(r) for r in rng.choice(38, 6, replace=False)]
    names = [str(n) for n in rng.choice(list(case.belief.predictor.tests), 9, replace=False)]
    small = small_case(case, rows, names)
    hypotheses = small.belief.predictor.hypotheses
    labels = {h.parts: index for index, h in enumerate(hypotheses)}
    assume(len(labels) > 1)
    all_of_them = Few(tuple(range(6)), small.belief.chances,
                      tuple(labels[h.parts] for h in hypotheses))  # fmt: skip
    certain = [[np.eye(20)[small.belief.predictor.outcomes[n][i]] for n in names] for i in range(6)]
    spent = minutes_to_the_end(small, names, all_of_them, np.array(certain))
    best = optimum(small)
    assert min(spent.values(), default=0.0) == pytest.approx(best, abs=1e-6)
    assert expected(small, by_plan).minutes >= best - 1e-6


def test_planned_one_walk_does_for_two():
    """Six suspects out at the unit: what has to be walked for anyway is not put off."""
    case = open_case("cooling-gas-furnace")
    for heard in [("ohms Y-C at the board", 0.6), ("ohms Y-C, outdoor wire lifted", OL)]:
        case = case.heard(*heard)
    left = few(case)
    assert left is not None
    names = list(case.belief.predictor.tests)
    expected_gain(case, names)
    spent = minutes_to_the_end(case, names, left, outlook(case, names, left.rows))
    chosen = by_plan(case, names)
    assert spent[chosen] <= CLEARLY_MORE * min(spent.values())


def test_the_optimum_is_for_small_cases_only():
    with pytest.raises(TypeError, match="small"):
        optimum(open_case("cooling-gas-furnace"))


def test_stops_only_when_sure():
    sure = given([0.9995, 0.0005], {"t": [[1.0, 0.0], [0.0, 1.0]]})
    unsure = given([SURE - 0.01, 1.01 - SURE], {"t": [[1.0, 0.0], [0.0, 1.0]]})
    assert verdict(sure, "t").enough
    assert not verdict(unsure, "t").enough
    assert verdict(unsure, None).enough


def test_a_dearer_mistake_asks_for_more():
    """Same belief, same test: what is cheap to get wrong is named earlier."""
    case = given([0.9975, 0.0025], {"t": [[1.0, 0.0], [0.0, 1.0]]})
    cheap = case.table.model_copy(update={"wrong": {**case.table.wrong, "board": 1.0}})
    assert not verdict(case, "t").enough
    assert verdict(replace(case, table=cheap), "t").enough


@pytest.mark.parametrize("profile", sorted(all_equipment()))
def test_no_test_joins_r_to_c_or_is_read_live_in_ohms(profile):
    for complaint in ("opens", "nothing"):
        for test in open_case(profile, complaint).belief.predictor.tests.values():
            assert not {"C", "R"} & set(test.setup.jumpers)
            assert test.measure != "ohms" or test.setup.power == "dead"
            assert test.setup.power != "live" or test.setup.protection != "none"
