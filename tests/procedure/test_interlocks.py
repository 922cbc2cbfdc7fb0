"""No resistance step without a stated power-off and a measured zero, whatever is said."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from companion.datafiles import folder
from companion.messages import Blocked, Reading, Taken, Withdrawn
from companion.turns import load_dialogs
from tests.conftest import DEAD, ISOLATED, TO_METHOD, TO_SUPPLY, TO_SWEEP, Talk

DIALOGS = load_dialogs(folder("dialogs"))
STEPS = DIALOGS.library.procedure.steps

POWER_STEPS = {"power_off", "meter_proven", "zero_volts", "clear"}
NUMBERS = {
    "resistance": ["point five", "sixty ohms", "twelve point six", "O L"],
    "voltage": ["zero volts", "zero volts", "twenty seven volts"],
    "current": ["three amps", "five amps"],
    None: [],
}
ANYTHING = (
    [said for all_ in DIALOGS.vocabulary.answers.values() for said in all_[:1]]
    + [said for all_ in DIALOGS.vocabulary.commands.values() for said in all_[:1]]
    + ["zero volts", "zero", "point five", "twenty seven volts", "three amps", "five amps", "O L",
       "sixty ohms", "twelve point six", "no", "correction", "no point four", "correction ten",
       "G sixty ohms", "[unk]", "banana", "two four", "dead short", "nothing"]
)  # fmt: skip


class Watch:
    """Follows a call from outside and knows what was really stated, in order."""

    def __init__(self) -> None:
        self.talk = Talk(DIALOGS)
        self.stated: list[str] = []
        self.isolated = False
        self.check()

    def say(self, line: str) -> None:
        self.talk.say(line)
        for message in self.talk.last:
            if isinstance(message, Taken):
                self.note(message)
            if isinstance(message, Withdrawn) and message.step in POWER_STEPS:
                self.stated.clear()
            if isinstance(message, Withdrawn) and message.step == "base":
                self.isolated = False
        if line == "stop":
            self.stated.clear()  # nobody knows what was switched in between
            self.isolated = False
        self.check()

    def note(self, taken: Taken) -> None:
        if taken.step == "power_off":
            self.stated = ["off"]
        elif taken.step == "meter_proven" and self.stated == ["off"]:
            self.stated.append("proven")
        elif taken.step == "zero_volts" and self.stated == ["off", "proven"]:
            assert isinstance(taken.value, Reading)
            assert taken.read_back == "said_twice"
            zero = taken.value.value_si is not None and taken.value.value_si < 1.0
            self.stated = ["off", "proven", "zero"] if zero else []
        elif taken.step == "clear":
            self.stated = ["clear"]
        if taken.step == "base":
            self.isolated = True
        elif taken.step in {"clear", "lamp_fit", "breaker_fit"}:
            self.isolated = False

    def check(self) -> None:
        step = STEPS[self.talk.step]
        if self.talk.turns.concluded is not None:
            return
        if step.power == "dead" and not self.talk.turns._conversation._held:
            assert self.stated == ["off", "proven", "zero"], (self.talk.step, self.stated)
        if step.isolated and not self.talk.turns._conversation._held:
            assert self.isolated, self.talk.step
        if step.power == "live" and not self.talk.turns._conversation._held:
            assert self.stated == ["clear"], (self.talk.step, self.stated)


@settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from([(), TO_SUPPLY, TO_METHOD, TO_SWEEP]), st.randoms(use_true_random=False))
def test_whatever_is_said_no_step_opens_before_its_interlock(start, choice):
    """Mostly what the step asks for, so that the talk gets far; in between, anything."""
    watch = Watch()
    for line in start:
        watch.say(line)
    for _ in range(60):
        if watch.talk.turns.concluded is not None:
            return
        expected = watch.talk.turns._conversation.expectation()
        fitting = [DIALOGS.vocabulary.answers[name][0] for name in expected.answers]
        fitting += NUMBERS[expected.quantity] or []
        if expected.step == "hold":
            fitting = ["resume"]
        watch.say(choice.choice(fitting if fitting and choice.random() < 0.8 else ANYTHING))


@pytest.mark.parametrize("name", [name for name, step in STEPS.items() if step.safety])
@pytest.mark.parametrize("said", ["yes", "right", "okay", "[unk]", "nothing", ""])
def test_yes_silence_and_noise_satisfy_no_safety_step(name, said):
    talk = _at_step(name)
    before = talk.turns.walk.standing
    talk.say(said)
    assert talk.turns.walk.standing == before
    assert "taken" not in talk.kinds()


def _at_step(name: str) -> Talk:
    ways = {
        "site": (),
        "clear": TO_SUPPLY[:-1],
        "power_off": (*TO_SUPPLY, "twenty seven"),
        "meter_proven": (*TO_SUPPLY, "twenty seven", "power off"),
        "zero_volts": (*TO_SUPPLY, "twenty seven", "power off", "meter proven"),
        "base": TO_SWEEP[:-1],
        "capacitor": (*TO_SWEEP, "sixty ohms", "point nine", "yes"),
    }
    talk = Talk(DIALOGS)
    assert talk.say(*ways[name]) == name
    return talk


def test_ohms_are_refused_while_power_may_be_on():
    talk = Talk(DIALOGS)
    talk.say(*TO_SUPPLY)
    talk.say("sixty ohms")
    assert talk.step == "supply"
    assert Blocked(interlock="dead", step="supply") in talk.last


def test_zero_volts_is_said_twice_and_the_same_both_times():
    talk = Talk(DIALOGS)
    talk.say(*TO_SUPPLY, "twenty seven", "power off", "meter proven")
    assert talk.say("zero volts") == "zero_volts"
    assert talk.say("point two") == "zero_volts"
    assert DIALOGS.library.replies.not_the_same in talk.prompts
    assert talk.say("zero volts", "zero volts") == "marked"


def test_volts_where_there_should_be_none_start_over():
    talk = Talk(DIALOGS)
    talk.say(*TO_SUPPLY, "twenty seven", "power off", "meter proven")
    assert talk.say("twenty four volts", "twenty four volts") == "power_off"


def test_stop_holds_at_once_and_power_is_proven_again():
    talk = Talk(DIALOGS)
    assert talk.say(*TO_SWEEP) == "ohms"
    talk.say("stop")
    assert talk.prompts == [DIALOGS.library.replies.stopped]
    talk.say("sixty ohms")
    assert talk.prompts == [DIALOGS.library.replies.on_hold]
    assert talk.say("resume") == "power_off"
    assert talk.say(*DEAD) == "base"
    assert talk.say(*ISOLATED) == "ohms"
    assert talk.about == "G"


def test_stop_in_an_interlock_starts_that_interlock_over():
    talk = Talk(DIALOGS)
    talk.say(*TO_SWEEP, "sixty ohms", "point nine", "yes")
    assert talk.step == "capacitor"
    assert talk.say("stop", "resume") == "power_off"
    assert talk.say(*DEAD) == "capacitor"
    assert talk.say("capacitor safe") == "coil"


def test_energizing_ends_what_was_verified_dead():
    talk = Talk(DIALOGS)
    talk.say(*TO_METHOD, "lamp", "lamp ready", "all clear")
    assert talk.step == "lamp"
    assert talk.say("bright", "yes") == "power_off"


@pytest.mark.parametrize("name", [name for name, step in STEPS.items() if step.safety])
def test_no_safety_step_can_be_skipped(name):
    talk = _at_step(name)
    assert talk.say("skip") == name
    assert DIALOGS.library.replies.cannot_skip in talk.prompts
