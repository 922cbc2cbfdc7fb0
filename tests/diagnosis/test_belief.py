"""Belief: Bayes by hand and by others, repeats, contradictions, and words for them."""

import numpy as np
import pytest
from hypothesis import given as for_all
from hypothesis import settings
from hypothesis import strategies as st

from companion.diagnosis.case import open_case
from companion.diagnosis.hypotheses import ELSE
from companion.diagnosis.likelihood import OL
from companion.diagnosis.wording import believed, suspects
from tests.diagnosis.worlds import given, reference_house, row

COOLING = "cooling-gas-furnace"


@pytest.mark.parametrize(
    ("prior", "if_so", "if_not", "after"),
    [
        (0.10, 0.95, 0.03, 0.7787),  # a published exercise on Bayes' formula: carriers of a disease
        (0.01, 0.90, 0.05, 0.1538),  # another: 0.009/0.0585
        (0.01, 0.80, 0.096, 0.0776),  # the mammography problem of the literature (from memory)
    ],
)
def test_bayes_as_published(prior, if_so, if_not, after):
    case = given([prior, 1 - prior], {"test": [[if_so, 1 - if_so], [if_not, 1 - if_not]]})
    assert case.heard("test", "outcome 0").belief.chances[0] == pytest.approx(after, abs=5e-5)


def test_repeats_say_only_that_it_was_heard_right():
    """The same points read twice are no second coil: a healthy reading isn't counted double."""
    once = open_case(COOLING).heard("ohms Y-C at the board", 13.0)
    twice = once.heard("ohms Y-C at the board", 13.0)
    parts = [case.belief.by_part() for case in (once, twice)]
    assert parts[1]["contactor coil"] == pytest.approx(parts[0]["contactor coil"], rel=0.35)


SAME_COIL = [
    (COOLING, "Y", "contactor coil", ("ohms Y-C at the board", "ohms Y-C, base on",
                                      "ohms Y-C, thermostat wire lifted")),
    ("packaged-unit", "Y", "contactor coil", ("ohms Y-C, base on", "ohms Y-C at the board",
                                              "ohms Y-C, thermostat wire lifted")),
    # Of a make with others, which are compared with it.
    ("boiler-zone-valves", "Z2", "zone two valve motor",
     ("ohms Z2-C at the board", "ohms Z2-C at the zone two splice, unit side",
      "ohms, zone two valve motor alone")),
]  # fmt: skip


@pytest.mark.parametrize(("equipment", "terminal", "part", "tests"), SAME_COIL)
@for_all(st.floats(0.55, 1.5))
@settings(max_examples=8, deadline=None)
def test_a_second_look_at_a_coil_tells_nothing_of_its_turns(
    equipment, terminal, part, tests, of_least
):
    """Its ohms are one number, sound or with shorted turns: more of the same tells neither from
    the other. Far below the span it rules out that the first was misheard."""
    case = open_case(equipment)
    load = case.belief.predictor.layout.equipment.fed(terminal).load
    rows = [row(case, f"{terminal}: {part}, turns"), row(case, "none now, history")]
    odds = []
    for test in tests:
        case = case.heard(test, of_least * load.ohms[0])
        turns, sound = case.belief.chances[rows]
        odds.append(np.log(turns / sound))
    assert min(odds) > odds[0] - 0.5
    assert of_least < 0.9 or max(odds) < odds[0] + 0.5


def test_a_coil_far_below_others_of_its_make_has_shorted_turns():
    """Two of three alike read 100 ohms, the third 50, all within the span of the make."""
    case = open_case("boiler-zone-valves")
    tests = {t: f"ohms {t}-C at the board" for t in ("Z1", "Z2", "Z3")}
    for terminals in (("Z1", "Z3", "Z2"), ("Z2", "Z1", "Z3")):
        told = case
        for terminal in terminals:
            told = told.heard(tests[terminal], 50.0 if terminal == "Z2" else 100.0)
        by_part = told.belief.by_part()
        assert by_part["zone two valve motor"] > 20 * by_part["zone one valve motor"]
        alike = case
        for terminal in terminals:
            alike = alike.heard(tests[terminal], 100.0)
        assert by_part["zone two valve motor"] > 5 * alike.belief.by_part()["zone two valve motor"]


def test_a_misheard_reading_is_found_when_it_is_read_again():
    case = open_case(COOLING).heard("ohms Y-C at the board", 130.0)
    assert case.belief.wrong(0) > 0.3
    again = case.heard("ohms Y-C at the board", 13.0)
    assert again.belief.wrong(0) > 0.8
    assert again.belief.wrong(1) < 0.05


def test_the_odd_reading_is_named():
    case = open_case(COOLING, misheard=0.02)
    for name, outcome in (("ohms Y-C at the board", 0.6), ("ohms Y-C, thermostat wire lifted", 0.6),
                          ("ohms Y-C, outdoor wire lifted", 1500.0),
                          ("breaker, R to Y", "runs"), ("breaker, R to G", "runs")):  # fmt: skip
        case = case.heard(name, outcome)
    odd = [index for index in range(5) if case.belief.wrong(index) > 0.5]
    assert odd == [3]
    assert next(iter(case.belief.by_circuit())) == "Y"
    words = believed(case.belief, suspects(case.belief), odd)
    assert words == "That doesn't fit any single short; the reading before last is the odd one."


def test_taking_back_is_as_if_never_heard():
    case = open_case(COOLING).heard("ohms Y-C at the board", 0.6)
    more = case.heard("ohms G-C at the board", 70.0).belief.without(1)
    assert np.allclose(more.chances, case.belief.chances)


@settings(max_examples=15, deadline=None)
@for_all(st.permutations(["ohms Y-C at the board", "ohms G-C at the board", "breaker, R to W"]))
def test_order_does_not_matter(order):
    said = {"ohms Y-C at the board": 0.7, "ohms G-C at the board": 70.0, "breaker, R to W": "runs"}
    case = open_case(COOLING)
    for name in order:
        case = case.heard(name, said[name])
    straight = open_case(COOLING)
    for name, outcome in said.items():
        straight = straight.heard(name, outcome)
    assert np.allclose(case.belief.chances, straight.belief.chances, atol=1e-9)


@settings(max_examples=40, deadline=None)
@for_all(st.lists(st.tuples(
    st.sampled_from([f"ohms {t}-C at the board" for t in "RGYW"]),
    st.one_of(st.just(OL), st.floats(0, 2e6)),
), max_size=4))  # fmt: skip
def test_whatever_is_said_belief_stays_a_belief(said):
    case = open_case(COOLING)
    for name, outcome in said:
        case = case.heard(name, outcome)
    assert np.isfinite(case.belief.chances).all()
    assert case.belief.chances.sum() == pytest.approx(1.0)
    assert 0.0 < case.belief.by_part()[ELSE] <= 1.0 + 1e-9


def test_nonsense_is_surprise_and_not_explained_away():
    case = open_case(COOLING)
    for name in ("ohms R-C at the board", "ohms G-C at the board", "ohms W-C at the board"):
        case = case.heard(name, 4.4e4)
    assert next(iter(case.belief.by_part())) == ELSE
    assert "None of the faults I know" in believed(case.belief, suspects(case.belief), [])


@pytest.mark.parametrize(
    ("word", "terminal", "less_likely"),
    [("beeps", "G", "none now, history"), ("silent", "Y", "Y: outdoor cable, short")],
)
def test_a_beep_is_weak_but_is_heard(word, terminal, less_likely):
    case = reference_house()
    after = case.heard(f"ohms {terminal}-C at the board", word)
    index = row(case, less_likely)
    assert after.belief.chances[index] < case.belief.chances[index]


def test_a_good_coil_beeps_too():
    """A beep on Y does not tell a good contactor from a short."""
    case = reference_house().heard("ohms Y-C at the board", "beeps")
    before = reference_house()
    for name in ("none now, history", "Y: outdoor cable, short"):
        index = row(before, name)
        assert case.belief.chances[index] == pytest.approx(before.belief.chances[index], rel=0.1)


def test_holds_is_runs_or_nothing():
    case = open_case(COOLING)
    held = np.exp(case.heard("breaker, R to Y", "holds").belief.evidence)
    parts = [np.exp(case.heard("breaker, R to Y", w).belief.evidence) for w in ("runs", "nothing")]
    assert held == pytest.approx(sum(parts), rel=0.1)  # "something else" is not of one sum


@pytest.mark.parametrize(("test", "outcome"), [("breaker, R to Y", "bright"),
                                               ("ohms Y-C at the board", "trips"),
                                               ("lamp, R to Y", 0.5)])  # fmt: skip
def test_what_a_test_cannot_come_out_as_is_refused(test, outcome):
    with pytest.raises(ValueError, match="not "):
        open_case(COOLING).heard(test, outcome)


def test_a_refused_test_tells_nothing_and_is_not_asked_again():
    case = open_case(COOLING)
    refused = case.refuse("ohms Y-C at the board")
    assert refused.belief is case.belief
    assert "ohms Y-C at the board" not in refused.open()


def test_what_was_confirmed_is_believed_more():
    """It turns belief as far as it can: less of it is put down to the ears."""
    case = open_case(COOLING)
    for name, outcome in (("ohms Y-C at the board", 0.6), ("breaker, R to Y", "trips")):
        said, confirmed = (case.heard(name, outcome, confirmed=yes) for yes in (False, True))
        assert confirmed.belief.by_circuit()["Y"] > said.belief.by_circuit()["Y"]
        assert confirmed.belief.wrong(0) < said.belief.wrong(0)


@settings(max_examples=20)
@for_all(st.floats(0.1, 1e4), st.floats(0.1, 1e4), st.booleans(), st.booleans())
def test_confirmed_or_not_the_order_of_readings_changes_nothing(first, second, one, two):
    readings = [("ohms Y-C at the board", first, one), ("ohms G-C at the board", second, two)]
    cases = [open_case(COOLING), open_case(COOLING)]
    for case, order in enumerate((readings, readings[::-1])):
        for name, outcome, confirmed in order:
            cases[case] = cases[case].heard(name, outcome, confirmed=confirmed)
    assert np.allclose(cases[0].belief.chances, cases[1].belief.chances, atol=1e-9)


def test_confirmed_against_misheard_the_confirmed_one_stands():
    name = "ohms Y-C at the board"
    case = open_case(COOLING).heard(name, 0.6).heard(name, 13.0, confirmed=True)
    assert case.belief.wrong(0) > 0.8 > 0.05 > case.belief.wrong(1)
