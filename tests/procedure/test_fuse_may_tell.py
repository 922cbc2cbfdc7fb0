"""Where the fuse opened, the marked one goes in for amps only once nothing reads shorted."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.counsel import Evidence
from companion.equipment import all_equipment
from companion.messages import Prompt, StepEntered
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
