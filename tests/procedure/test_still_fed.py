"""A call that reads nothing may have opened the fuse: R is read before anything else."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.counsel import Evidence
from companion.equipment import all_equipment
from companion.procedure.asking import may_be_asked
from companion.procedure.evidence import NOTHING_SI, in_doubt
from companion.turns import kept_counsel
from companion.understood import Answer, Reading
from tests.conftest import DEAD, ISOLATED, Talk

EQUIPMENT = all_equipment()["packaged-unit"]
CARDS = kept_counsel(EQUIPMENT, "nothing", ()).cards()
CALLING = sorted(name for name, card in CARDS.items() if card.opens is not None)
TO_AMPS = ("site clear", "nothing answers", "packaged unit", "none", "no history",
           "thermostat off", "all clear", "twenty six volts", "zero volts", "three amps",
           "meter")  # fmt: skip
ON = {"hunt", "power_off"}  # the next test, or what it wants first


def read(test: str, value_si: float) -> Evidence:
    return Evidence(test=test, value=Reading(quantity=CARDS[test].quantity, value_si=value_si))


def answered(test: str, name: str) -> Evidence:
    return Evidence(test=test, value=Answer(name=name))


def test_each_meter_test_on_a_call_knows_the_breaker_test_of_that_call():
    assert CARDS["amps, R to Y"].opens == "breaker, R to Y"
    assert CARDS["volts Y-C, called"].opens == "call Y"
    for card in CARDS.values():
        called = "Jump R to" in card.say or "at the thermostat. AC volts" in card.say
        assert (card.opens is not None) == (called and card.means == "meter"), card.say
        if card.opens is not None:
            assert CARDS[card.opens].means == "breaker"


@given(st.sampled_from(CALLING), st.floats(0.0, 30.0), st.data())
@settings(max_examples=80, deadline=None)
def test_in_doubt_is_a_call_that_read_nothing_and_nothing_tells_that_it_holds(name, value_si, data):
    card = CARDS[name]
    nothing = value_si < NOTHING_SI[card.quantity]
    assert in_doubt([read(name, value_si)], CARDS) == (card.opens if nothing else None)
    zero = read(name, 0.0)
    told = answered(card.opens, data.draw(st.sampled_from(["trips", "holds"])))
    assert in_doubt([zero, told, zero], CARDS) is None
    twin = data.draw(st.sampled_from([n for n in CALLING if CARDS[n].opens == card.opens]))
    assert in_doubt([read(twin, 20.0), zero], CARDS) is None
    other = data.draw(st.sampled_from([n for n in CALLING if CARDS[n].opens != card.opens]))
    assert in_doubt([read(other, 20.0), zero], CARDS) == card.opens
    passed_over = Evidence(test=card.opens)
    assert in_doubt([zero, passed_over], CARDS) is None
    assert in_doubt([zero, passed_over, zero], CARDS) == card.opens


def to_a_call(dialogs) -> Talk:
    """A call where nothing answers, at its first test that has a call on."""
    talk = Talk(dialogs)
    talk.say(*TO_AMPS)
    assert CARDS[talk.about].opens is not None, talk.about
    return talk


def nothing_on(talk: Talk) -> str:
    unit = {"current": "amps", "voltage": "volts"}[CARDS[talk.about].quantity]
    return f"zero {unit}"


def test_after_nothing_on_a_call_r_is_read_and_24_volts_go_on_as_before(dialogs):
    talk = to_a_call(dialogs)
    opens = CARDS[talk.about].opens
    assert talk.say(nothing_on(talk)) == "still_fed"
    assert talk.about == opens
    assert talk.say("twenty six volts") in ON
    walk = talk.turns.walk
    assert walk.standing.complaint == "nothing"
    assert walk.standing.evidence[-1] == Evidence(
        test=opens, value=Answer(name="holds", said="twenty six volts")
    )
    assert "fused" in walk.earned


def test_no_volts_there_wait_for_yes_and_no_new_fuse_follows_the_one_that_opened(dialogs):
    talk = to_a_call(dialogs)
    opens = CARDS[talk.about].opens
    talk.say(nothing_on(talk))
    assert talk.say("zero volts") == "still_fed"
    assert talk.say("yes") == "method"
    walk = talk.turns.walk
    assert walk.standing.complaint == "opens"
    assert "fused" not in walk.earned
    assert opens in walk.standing.overloaded
    cards = walk.counsel.cards().values()
    live = [c for c in cards if c.power == "live" and c.means == "meter"]
    assert live
    assert not any(may_be_asked(card, walk.standing) for card in live)
    assert talk.say("meter") == "power_off"
    assert talk.say(*DEAD, *ISOLATED, "point two") in {*ON, "capacitor"}


def test_taken_back_it_is_as_if_it_had_not_been_read(dialogs):
    talk = to_a_call(dialogs)
    talk.say(nothing_on(talk), "zero volts", "yes")
    assert talk.say("back") == "still_fed"
    assert talk.turns.walk.standing.complaint == "nothing"
    assert talk.say("twenty six volts") in ON


def test_passed_over_it_is_asked_again_after_the_next_that_reads_nothing(dialogs):
    talk = to_a_call(dialogs)
    at = talk.about
    talk.say(nothing_on(talk))
    assert talk.say("skip can't reach it") in ON
    again = [read(at, 0.0), Evidence(test=CARDS[at].opens), read(at, 0.0)]
    assert in_doubt(again, CARDS) == CARDS[at].opens


@pytest.mark.parametrize("said", ["fuse blown", "it blew"])
def test_an_open_fuse_found_when_it_is_to_be_fitted_is_told_and_no_other_goes_in(dialogs, said):
    talk = to_a_call(dialogs)
    for _ in range(60):
        if talk.step == "fuse_ready":
            break
        card = talk.turns.walk.card
        if talk.step == "still_fed":
            talk.say("twenty six volts")
        elif card is None:
            talk.say(*{"power_off": DEAD, "base": ISOLATED, "leads": ("point two",),
                       "capacitor": ("capacitor safe",), "footing": ("at the top and steady",),
                       "fuse_out": ("fuse out",), "clear": ("all clear",)}[talk.step])  # fmt: skip
        else:
            talk.say("skip")
    assert talk.step == "fuse_ready"
    assert talk.say(said) == "method"
    assert talk.turns.walk.standing.complaint == "opens"
    assert "fused" not in talk.turns.walk.earned
