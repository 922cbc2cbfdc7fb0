"""How far out a short is. Numbers marked as guards are sums of our own formula."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.circuit.copper import loop_ohms
from companion.circuit.distance import Run, from_both_ends, to_short

ATTIC = Run(18, 150.0, 25.0, landmarks=(("the wall", 20.0), ("the disconnect", 100.0)))


def test_worked_budget():
    """Guards against slips: a worked budget by JCGM 100, 61.4 ft and U of 19.7 ft."""
    found = to_short(1.1, 0.3, ATTIC)
    assert found.estimate.value == pytest.approx(61.4, abs=0.05)
    assert found.estimate.expanded == pytest.approx(19.7, abs=0.05)
    shares = {term.name: term.share for term in found.estimate.terms}
    assert max(shares, key=shares.get) == "meter accuracy"
    assert all(term.source for term in found.estimate.terms)


def test_words_name_what_lies_before_and_behind():
    words = to_short(1.1, 0.3, ATTIC).words
    assert words == "About 60 feet out, give or take 20: past the wall, before the disconnect."


def test_a_fault_contact_widens_and_pulls_nearer():
    bolted = to_short(1.1, 0.3, ATTIC)
    rubbed = to_short(1.1, 0.3, ATTIC, fault_ohm=(0.0, 0.6))
    assert rubbed.estimate.value < bolted.estimate.value
    assert rubbed.estimate.expanded > bolted.estimate.expanded


def test_a_short_cable_cannot_be_located_on():
    found = to_short(0.6, 0.2, Run(18, 40.0))
    assert found.splits
    assert "Split the cable" in found.words


def test_less_than_the_leads_asks_for_the_leads():
    assert "zero the leads" in to_short(0.1, 0.9, ATTIC).words


def test_one_way_through_the_chassis_is_twice_as_far():
    there = to_short(0.9, 0.2, ATTIC).estimate.value
    through = to_short(0.9, 0.2, ATTIC, through_chassis=True).estimate.value
    assert through == pytest.approx(2 * there)


@given(st.floats(1.0, 149.0), st.sampled_from([18, 20, 22, 24]), st.floats(-20, 60))
def test_the_true_place_is_within_the_interval(feet, awg, celsius):
    """A short read without error is found where it is, and the interval is on the cable."""
    run = Run(awg, 150.0, celsius)
    found = to_short(loop_ohms(awg, feet, celsius) + 0.2, 0.2, run)
    assert found.estimate.value == pytest.approx(feet, rel=1e-6)
    assert 0.0 <= found.least_ft <= feet <= found.most_ft + 1e-9 <= 150.0 + 1e-6


@given(st.floats(0.0, 80.0), st.floats(0.0, 5.0))
def test_both_ends_cancel_the_fault_itself(feet, fault_ohm):
    """The loop test from either end gives back place and fault."""
    near = loop_ohms(18, feet) + fault_ohm
    far = loop_ohms(18, 80.0 - feet) + fault_ohm
    where, what = from_both_ends(near, far, Run(18, 80.0))
    assert where == pytest.approx(feet, abs=1e-6)
    assert what == pytest.approx(fault_ohm, abs=1e-6)


def test_clad_aluminium_reads_further():
    """Guards against slips: about one and a half times the ohms (from memory)."""
    assert loop_ohms(18, 100.0, material="copper-clad aluminium") == pytest.approx(
        1.55 * loop_ohms(18, 100.0), rel=0.02
    )


@pytest.mark.parametrize("bad", [(-0.1, 0.2), (0.5, -0.2)])
def test_ohms_below_zero_are_refused(bad):
    with pytest.raises(ValueError, match="below zero"):
        to_short(*bad, ATTIC)
