"""Whole invented calls: each ends at what is hidden, with every interlock kept."""

from __future__ import annotations

from functools import cache

import pytest

from companion.closed_loop.held import Outcome
from companion.datafiles import folder
from companion.messages import Prompt, StepEntered, Taken
from companion.practice import House
from companion.turns import load_dialogs
from companion.understood import Reading
from tests.calls.scripts import hold, scripts


@cache
def held(name: str) -> tuple[House, Outcome]:
    return hold(scripts()[name], load_dialogs(folder("dialogs")))


@pytest.mark.parametrize("name", scripts())
def test_the_call_ends_at_what_is_hidden(name):
    script = scripts()[name]
    house, outcome = held(name)
    ended = outcome.concluded
    assert ended is not None, outcome.lines[-5:]
    assert ended.outcome == script.ends
    if script.leaves is not None:
        assert not house.mended
        closing = [m for m in outcome.messages if isinstance(m, Prompt) and m.slots]
        assert any(script.leaves in str(m.slots.get("unfinished")) for m in closing)
    elif script.ends == "repaired":
        assert house.mended
        assert all(part in str(ended.part) for part in house.hidden.parts - {"none now"})
    assert script.circuit in {None, ended.circuit}
    assert script.part in {None, ended.part}
    assert outcome.breaches == []
    assert house.fuses_burnt == 0


def test_dead_before_every_ohm_and_clear_before_every_live_step(dialogs):
    """The order on record, not the state: of all calls together."""
    steps = dialogs.library.procedure.steps
    for script in scripts().values():
        dead = False
        for message in held(script.name)[1].messages:
            if isinstance(message, Taken):
                dead = dead or message.step == "zero_volts"
                dead = dead and message.step != "clear"
                if isinstance(message.value, Reading) and message.value.quantity == "resistance":
                    assert dead, (script.name, message)
            elif isinstance(message, StepEntered) and steps[message.step].power == "dead":
                assert dead, (script.name, message)
