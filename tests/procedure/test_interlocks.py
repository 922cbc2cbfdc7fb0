"""No step opens before its interlock, whatever is said and whatever the reasoner asks for."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from companion.datafiles import folder
from companion.messages import Blocked, Reading, Taken, Withdrawn
from companion.turns import load_dialogs
from tests.conftest import ARRIVED, DEAD, ISOLATED, LEADS, TO_HUNT, TO_METHOD, TO_SUPPLY, Talk
from tests.procedure.anyhow import anyhow, in_order

DIALOGS = load_dialogs(folder("dialogs"))
REPLIES = DIALOGS.library.replies
STEPS = DIALOGS.library.procedure.steps
SAFETY = [name for name, step in STEPS.items() if step.safety]

POWER_STEPS = {"power_off", "meter_proven", "zero_volts", "clear"}
NUMBERS = {
    "resistance": ["point five", "sixty ohms", "twelve point six", "O L"],
    "voltage": ["zero volts", "zero volts", "twenty seven volts"],
    "current": ["three amps", "five amps", "three amps"],
    None: [],
}
ANYTHING = (
    [said for all_ in DIALOGS.vocabulary.answers.values() for said in all_[:1]]
    + [said for all_ in DIALOGS.vocabulary.commands.values() for said in all_[:1]]
    + ["zero volts", "zero", "point five", "twenty seven volts", "three amps", "five amps", "O L",
       "sixty ohms", "twelve point six", "no", "correction", "no point four", "correction ten",
       "G sixty ohms", "[unk]", "banana", "two four", "dead short", "nothing", "W point five",
       "change the Y reading to four ohms", "change G to ten", "skip not safe", "R C Y G W",
       "what should Y read", "can it carry another two amps"]
)  # fmt: skip


class Watch:
    """Follows a call from outside and knows what was really stated, in order."""

    def __init__(self) -> None:
        self.talk = Talk(DIALOGS, counsel_for=anyhow)
        self.stated: list[str] = []
        self.fitted: str | None = None  # what is known to be between the transformer and R
        self.base_off = self.no_fuse = self.outdoor = self.zeroed = self.steady = False
        self.check()

    def say(self, line: str) -> None:
        self.talk.say(line)
        for message in self.talk.last:
            if isinstance(message, Taken) and not self.revised():
                self.note(message)
            if isinstance(message, Withdrawn):
                self.forget(message.step)
        if getattr(self.talk.understood, "name", "") in {"stop", "hand_over"}:
            self.forget_all()
        self.check()

    def revised(self) -> bool:
        """A number was put right; nothing was done at the unit."""
        return any(isinstance(m, Withdrawn) and m.step == "hunt" for m in self.talk.last)

    def forget_all(self) -> None:
        self.stated, self.fitted = [], None
        self.base_off = self.no_fuse = self.outdoor = self.zeroed = self.steady = False

    def forget(self, step: str) -> None:
        if step in POWER_STEPS:
            self.forget_all()
        self.base_off &= step != "base"
        self.no_fuse &= step not in {"base", "fuse_out"}
        self.outdoor &= step != "capacitor"
        self.zeroed &= step != "leads"
        self.steady &= step != "footing"
        if step in {"lamp_fit", "breaker_rating", "breaker_fit", "fuse_ready"}:
            self.fitted = None

    def note(self, taken: Taken) -> None:
        step = taken.step
        if step == "power_off":
            self.stated = ["off"]
        elif step == "meter_proven" and self.stated == ["off"]:
            self.stated.append("proven")
        elif step == "zero_volts" and self.stated == ["off", "proven"]:
            assert isinstance(taken.value, Reading)
            assert taken.read_back == "said_twice"
            zero = taken.value.value_si is not None and taken.value.value_si < 1.0
            self.stated = ["off", "proven", "zero"] if zero else []
        elif step == "clear":
            self.stated = ["clear"]
            self.base_off = self.no_fuse = self.outdoor = False
        elif step == "base":
            self.base_off = self.no_fuse = True
            self.fitted = None
        elif step == "fuse_out":
            self.no_fuse, self.fitted = True, None
        elif step in {"lamp_fit", "breaker_fit", "fuse_ready"}:
            self.base_off = self.no_fuse = False
            self.fitted = {"lamp_fit": "lamp", "breaker_fit": "breaker"}.get(step, "fuse")
        elif step == "new_fuse" and taken.read_back != "confirmed":
            self.base_off = self.no_fuse = False
            self.fitted = None
        elif step in {"supply", "supply_again"} and isinstance(taken.value, Reading):
            if 18.0 <= (taken.value.value_si or 0.0) <= 30.0:
                self.fitted = "fuse"
        elif step == "capacitor":
            self.outdoor = True
        elif step == "leads":
            self.zeroed = (taken.value.value_si or 9.0) < 1.0 or taken.value.value_si == 0.0
        elif step == "footing":
            self.steady = True
        if step == "hunt" and "base on" in str(taken.about):
            self.base_off = False

    def check(self) -> None:
        talk = self.talk
        if talk.turns.concluded is not None or talk.turns._conversation._held != "no":
            return
        walk, name = talk.turns.walk, talk.step
        step, card = walk.step, walk.card
        where = (name, talk.about, self.stated, self.fitted)
        if step.power == "dead":
            assert self.stated == ["off", "proven", "zero"], where
        if step.power == "live":
            assert self.stated == ["clear"], where
        if step.quantity == "resistance":
            assert step.power == "dead", where
        needs = set(STEPS[name].needs)
        assert "isolated" not in needs or self.base_off, where
        assert "zeroed" not in needs or self.zeroed, where
        assert "lamp" not in needs or self.fitted == "lamp", where
        if card is None:
            return
        if card.quantity == "resistance":
            assert self.zeroed, where
            assert self.no_fuse if card.base_on else self.base_off, where
            assert self.outdoor or not card.outdoor, where
        if card.power == "live":
            assert self.fitted is not None, where
            assert card.means not in {"lamp", "breaker"} or self.fitted == card.means, where
        assert self.steady or card.where != "roof", where


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from([(), TO_SUPPLY, TO_METHOD, TO_HUNT]), st.randoms(use_true_random=False))
def test_whatever_is_said_no_step_opens_before_its_interlock(start, choice):
    """Mostly what the step asks for, so that the talk gets far; in between, anything."""
    watch = Watch()
    for line in start:
        watch.say(line)
    for _ in range(80):
        if watch.talk.turns.concluded is not None:
            return
        expected = watch.talk.turns._conversation.expectation()
        fitting = [DIALOGS.vocabulary.answers[name][0] for name in expected.answers]
        fitting += NUMBERS[expected.quantity] or []
        if expected.step == "hold":
            fitting = ["resume", "back to work"]
        readings = len(watch.talk.turns.walk.standing.evidence)
        watch.say(choice.choice(fitting if fitting and choice.random() < 0.8 else ANYTHING))
        lost = readings - len(watch.talk.turns.walk.standing.evidence)
        taken_back = any(isinstance(m, Withdrawn) for m in watch.talk.last)
        mended = any(isinstance(m, Taken) and m.step == "repair" for m in watch.talk.last)
        assert lost <= 0 or taken_back or mended, "a reading was lost"


WAYS = {
    "site": (),
    "clear": ARRIVED,
    "power_off": (*TO_SUPPLY, "five volts", "three amps"),
    "meter_proven": (*TO_SUPPLY, "five volts", "three amps", "power off"),
    "zero_volts": (*TO_SUPPLY, "five volts", "three amps", "power off", "meter proven"),
    "base": (*TO_METHOD, "meter"),
}


@pytest.mark.parametrize("name", WAYS)
@pytest.mark.parametrize("said", ["yes", "right", "okay", "[unk]", "nothing", ""])
def test_yes_silence_and_noise_satisfy_no_safety_step(name, said):
    talk = Talk(DIALOGS, counsel_for=in_order)
    assert talk.say(*WAYS[name]) == name
    before = talk.turns.walk.standing
    talk.say(said)
    assert talk.turns.walk.standing == before
    assert "taken" not in talk.kinds()


@pytest.mark.parametrize("name", WAYS)
def test_no_safety_step_can_be_skipped(name):
    talk = Talk(DIALOGS, counsel_for=in_order)
    talk.say(*WAYS[name])
    assert talk.say("skip") == name
    assert REPLIES.cannot_skip in talk.prompts


def test_every_safety_step_wants_its_own_words():
    for name in SAFETY:
        step = STEPS[name]
        assert step.skip is None, name
        assert not {"yes", "no"} & set(step.answers), name


def test_ohms_are_refused_while_power_may_be_on():
    talk = Talk(DIALOGS, counsel_for=in_order)
    talk.say(*TO_SUPPLY)
    talk.say("sixty ohms")
    assert talk.step == "supply"
    assert Blocked(interlock="dead", step="supply") in talk.last


def test_zero_volts_is_said_twice_and_the_same_both_times():
    talk = Talk(DIALOGS, counsel_for=in_order)
    talk.say(*WAYS["zero_volts"])
    assert talk.say("zero volts") == "zero_volts"
    assert talk.say("point two") == "zero_volts"
    assert REPLIES.not_the_same in talk.prompts
    assert talk.say("zero volts", "zero volts") == "fitted"


def test_volts_where_there_should_be_none_start_over():
    talk = Talk(DIALOGS, counsel_for=in_order)
    assert talk.say(*WAYS["zero_volts"], "twenty four volts", "twenty four volts") == "power_off"


def test_stop_holds_at_once_and_power_is_proven_again():
    talk = Talk(DIALOGS, counsel_for=in_order)
    assert talk.say(*TO_HUNT) == "hunt"
    about = talk.about
    talk.say("stop")
    assert talk.prompts == [REPLIES.stopped]
    talk.say("sixty ohms")
    assert talk.prompts == [REPLIES.on_hold]
    assert talk.say("resume") == "power_off"
    assert talk.say(*DEAD) == "base"
    assert talk.say(*ISOLATED, *LEADS) == "hunt"
    assert talk.about == about


def test_whoever_takes_over_proves_power_anew():
    talk = Talk(DIALOGS, counsel_for=in_order)
    assert talk.say(*TO_HUNT, "hand over") == "power_off"


def test_energizing_ends_what_was_verified_dead():
    talk = Talk(DIALOGS, counsel_for=anyhow)
    talk.say(*TO_METHOD, "lamp")
    while talk.turns.walk.card is None or talk.turns.walk.card.power != "live":
        expected = talk.turns._conversation.expectation()
        said = [DIALOGS.vocabulary.answers[name][0] for name in expected.answers]
        talk.say((said + (NUMBERS[expected.quantity] or []))[0])
    assert "dead" not in talk.turns.walk.earned
    assert {"live", "lamp"} <= talk.turns.walk.earned
