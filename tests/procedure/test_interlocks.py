"""No step opens before its interlock, whatever is said and whatever the reasoner asks for."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from companion.closed_loop.watch import Watch
from companion.datafiles import folder
from companion.messages import Blocked, Taken, Withdrawn
from companion.procedure.interlocks import Interlocks
from companion.turns import load_dialogs
from tests.conftest import ARRIVED, DEAD, ISOLATED, LEADS, TO_HUNT, TO_METHOD, TO_SUPPLY, Talk
from tests.procedure.anyhow import anyhow, in_order

DIALOGS = load_dialogs(folder("dialogs"))
REPLIES = DIALOGS.library.replies
STEPS = DIALOGS.library.procedure.steps
SAFETY = [name for name, step in STEPS.items() if step.safety]

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


class Watched:
    """A call with a watcher, which knows only what was stated, and the reasoner out of its mind."""

    def __init__(self) -> None:
        self.talk = Talk(DIALOGS, counsel_for=anyhow)
        self._watch = Watch(DIALOGS.library.procedure)
        self.breaches: list[str] = []

    def say(self, line: str) -> None:
        self.talk.say(line)
        found = self._watch.see(self.talk.understood, self.talk.last, self.talk.turns.walk)
        self.breaches += [] if found is None else [found]

    @property
    def readings(self) -> int:
        """How many readings are believed; what was skipped is none."""
        return sum(e.value is not None for e in self.talk.turns.walk.standing.evidence)

    def say_anything(self, choice: Random) -> None:
        """Mostly what the step asks for, so that the talk gets far; in between, anything."""
        expected = self.talk.turns.expectation()
        fitting = [DIALOGS.vocabulary.answers[name][0] for name in expected.answers]
        fitting += NUMBERS[expected.quantity] or []
        if expected.step == "hold":
            fitting = ["resume", "back to work"]
        self.say(choice.choice(fitting if fitting and choice.random() < 0.8 else ANYTHING))


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from([(), TO_SUPPLY, TO_METHOD, TO_HUNT]), st.randoms(use_true_random=False))
def test_whatever_is_said_no_step_opens_before_its_interlock(start, choice):
    call = Watched()
    for line in start:
        call.say(line)
    for _ in range(80):
        if call.talk.turns.concluded is not None:
            break
        readings = call.readings
        call.say_anything(choice)
        lost = readings - call.readings
        taken_back = any(isinstance(m, Withdrawn) for m in call.talk.last)
        mended = any(isinstance(m, Taken) and m.step == "repair" for m in call.talk.last)
        assert lost <= 0 or taken_back or mended, "a reading was lost"
    assert call.breaches == []


@pytest.mark.parametrize(
    ("interlock", "breach"),
    [
        ("dead", "asked dead"),
        ("live", "nobody told"),
        ("isolated", "with the fuse in"),
        ("unfused", "with the fuse in"),
        ("zeroed", "leads that were not read"),
        ("outdoor", "outdoor cabinet"),
        ("footing", "without a footing"),
        ("breaker", "nothing in the fuse's place"),
    ],
)
def test_the_watcher_sees_an_interlock_that_is_left_out(monkeypatch, interlock, breach):
    strict = Interlocks.first_missing

    def lax(self, wanted):
        return strict(self, tuple(name for name in wanted if name != interlock))

    monkeypatch.setattr(Interlocks, "first_missing", lax)
    found: list[str] = []
    for seed in range(40):
        call, choice = Watched(), Random(seed)
        for line in TO_METHOD:
            call.say(line)
        for _ in range(80):
            if call.talk.turns.concluded is None:
                call.say_anything(choice)
        found += call.breaches
        if any(breach in text for text in found):
            return
    pytest.fail(f"not seen in {len(found)} breaches")


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
