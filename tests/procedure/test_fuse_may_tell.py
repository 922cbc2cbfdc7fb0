"""A fuse is not put at risk: it goes in where nothing reads shorted, and not after an overload."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.closed_loop.held import run
from companion.closed_loop.many import Drawn, ended, technician_of
from companion.counsel import Evidence
from companion.equipment import all_equipment
from companion.messages import Prompt, StepEntered, Taken
from companion.practice import STEADY
from companion.procedure.asking import may_be_asked
from companion.procedure.standing import SOUND_SHARE, Place, Standing
from companion.turns import kept_counsel
from companion.understood import Reading
from tests.calls.scripts import hold, replays

EQUIPMENT = all_equipment()["packaged-unit"]
SIDES = (EQUIPMENT.r_side, *EQUIPMENT.circuits)
CARDS = kept_counsel(EQUIPMENT, "opens", ()).cards()
WHERE = ("-C at the board", "-C, base on", "-chassis at the board")
SHARES = st.floats(0.01, 3.0)


def ohms(terminal: str, where: str, net: float, leads: float = 0.2) -> Evidence:
    reading = Reading(quantity="resistance", value_si=net + leads)
    return Evidence(test=f"ohms {terminal}{where}", value=reading, leads_ohm=leads)


def standing(*evidence: Evidence, **settings: str) -> Standing:
    return Standing(Place("hunt"), EQUIPMENT, evidence=evidence, settings=settings)


def all_read() -> list[Evidence]:
    return [ohms(side.terminal, WHERE[0], side.ohms[0]) for side in SIDES]


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_no_terminal_may_read_low_nor_be_unread(data):
    evidence, low, board = [], False, 0
    for side in SIDES:
        for where in data.draw(st.sets(st.sampled_from(WHERE))):
            share = data.draw(SHARES.filter(lambda s: abs(s - SOUND_SHARE) > 0.01))
            evidence.append(ohms(side.terminal, where, share * side.ohms[0]))
            low |= share < SOUND_SHARE
        board += any(e.test.startswith(f"ohms {side.terminal}-C") for e in evidence)
    assert standing(*evidence).fuse_may_go_in == (not low and board == len(SIDES))


@pytest.mark.parametrize("means", ["meter", "lamp"])
def test_amps_want_the_fuse_allowed_and_nothing_shorted(means):
    amps = CARDS["amps, R to Y"]
    shorted = [*all_read(), ohms("Y", WHERE[2], 0.4)]
    assert not may_be_asked(amps, standing(*all_read(), means=means))
    assert may_be_asked(amps, standing(*all_read(), means=means, fuse="may go in"))
    assert not may_be_asked(amps, standing(*shorted, means=means, fuse="may go in"))
    assert not may_be_asked(amps, standing(means=means, fuse="may go in"))
    trips = CARDS["breaker, R to Y"]
    assert not may_be_asked(trips, standing(*all_read(), means=means, fuse="may go in"))


def test_it_is_the_last_resort_and_behind_its_interlocks(dialogs):
    """Amps are asked for once it was said, the fuse fitted and hazards answered for."""
    _, outcome = hold(replays()["nothing but the meter"], dialogs)
    said = fitted = clear = False
    amps = 0
    for message in outcome.messages:
        if isinstance(message, Prompt):
            said |= "the marked fuse may go in" in message.template
        elif isinstance(message, StepEntered) and message.step == "hunt":
            if message.about is not None and message.about.startswith("amps"):
                assert said
                assert fitted
                assert clear
                amps += 1
        elif isinstance(message, StepEntered):
            fitted |= said and message.step == "fuse_ready"
            clear |= fitted and message.step == "clear"
    assert amps


OVER = Evidence(test="amps, R to Y", value=Reading(quantity="current", value_si=3.85))


@given(st.floats(0.1, 20.0), st.sampled_from([None, 3.0, 5.0]))
@settings(max_examples=60, deadline=None)
def test_amps_over_the_marking_are_an_overload(ampere, marked):
    """The board's marking, or where nobody read it the equipment's own."""
    facts = {} if marked is None else {"marked": Reading(quantity="current", value_si=marked)}
    reading = Reading(quantity="current", value_si=ampere)
    read = replace(standing(replace_value(OVER, reading), complaint="nothing"), facts=facts)
    over = ampere > (marked or EQUIPMENT.fuse_ampere)
    assert bool(read.overloaded) == read.overloads(reading) == over


def replace_value(evidence: Evidence, reading: Reading) -> Evidence:
    return evidence.model_copy(update={"value": reading})


def test_after_an_overload_no_test_has_that_call_on_with_a_fuse_in():
    fed = [card for card in CARDS.values() if card.power == "live" and card.means == "meter"]
    with_y = [c for c in fed if c.terminal == "Y" or "R to Y" in c.name or "all calling" in c.name]
    assert with_y
    for card in fed:
        if card not in with_y:
            assert may_be_asked(card, standing(OVER, complaint="nothing", means="meter"))
    for card in with_y:
        for means in ("meter", "lamp"):
            assert may_be_asked(card, standing(complaint="nothing", means=means))
            assert not may_be_asked(card, standing(OVER, complaint="nothing", means=means))
        assert may_be_asked(card, standing(OVER, complaint="nothing", means="breaker"))


def test_amps_over_the_marking_wait_for_yes_and_that_call_is_not_made_again(dialogs):
    """A coil with shorted turns takes the fuse when it is called: once, and no more."""
    drawn = Drawn(0, "heat-pump-air-handler", "nothing", "lamp", "Y: contactor coil, turns",
                  1474583733)  # fmt: skip
    technician = technician_of(drawn, STEADY)
    outcome = run(dialogs, technician)
    over = [i for i, m in enumerate(outcome.messages) if isinstance(m, Taken) and m.about
            and m.about.startswith("amps") and m.value.value_si > 3.0]  # fmt: skip
    assert [outcome.messages[i].read_back for i in over] == ["confirmed"]
    later = [m for m in outcome.messages[over[0] + 1 :] if isinstance(m, StepEntered)]
    assert not any("R to Y" in (m.about or "") or m.about == "amps, all calling" for m in later)
    assert ended(outcome, technician) == "success"
    assert technician.house.fuses_burnt <= 1
