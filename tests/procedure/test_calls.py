"""Whole calls by typed lines: circuit, part and proof come out as they should."""

from __future__ import annotations

import pytest

from companion.messages import Concluded, Finding, Reading, Taken, Withdrawn
from tests.conftest import DEAD, ISOLATED, TO_METHOD, TO_SUPPLY, TO_SWEEP, Talk

PROOF = ("repaired", "twelve point six", "three amps", "thermostat off", "all clear",
         "twenty six point eight", "it runs", "twenty six", "close the call")  # fmt: skip


def test_meter_only_cooling_coil(dialogs):
    talk = Talk(dialogs)
    talk.say(*TO_SWEEP, "sixty ohms", "point nine", "yes", "capacitor safe", "point five", "yes")
    talk.say(*PROOF)
    assert talk.turns.concluded == Concluded(
        outcome="repaired", circuit="Y", part="contactor coil", proved=True
    )


def test_lamp_heat_pump_reversing_valve_wiring(dialogs):
    talk = Talk(dialogs)
    talk.say("site clear", "heat pump", "thermostat off", "all clear", "twenty seven", *DEAD)
    talk.say("three amps", "three amps", "O L", "lamp", "lamp ready", "all clear")
    talk.say("dark", "dim", "bright", "yes")
    assert talk.turns.walk.standing.terminal == "O"
    talk.say(*DEAD, "capacitor safe", "thirty five ohms")  # the coil alone is good
    assert talk.step == "base"  # the lamp had the fuse in: the winding would be in the reading
    assert talk.say(*ISOLATED, "one point one", "yes") == "repair"
    part = "outdoor cable or a splice"
    talk.say("repaired", "thirty six", "three amps", "thermostat off", "all clear")
    talk.say("twenty seven", "it runs", "twenty six point five", "close the call")
    assert talk.turns.concluded == Concluded(
        outcome="repaired", circuit="O", part=part, proved=True
    )


def test_breaker_finds_heating_and_r_side(dialogs):
    talk = Talk(dialogs)
    talk.say(*TO_METHOD, "breaker", "three amps", "breaker ready", "all clear", "holds")
    talk.say("holds", "holds", "trips", "yes")
    assert talk.turns.walk.standing.terminal == "W"
    other = Talk(dialogs)
    other.say(*TO_METHOD, "breaker", "three amps", "breaker ready", "all clear", "trips", "yes")
    assert other.turns.walk.standing.terminal == "R"
    assert other.say(*DEAD) == "base"
    assert other.say(*ISOLATED) == "wiring"


def test_gas_ends_the_call_at_once(dialogs):
    talk = Talk(dialogs)
    talk.say("i smell gas")
    assert talk.turns.concluded == Concluded(outcome="unsafe")
    assert talk.say("site clear") == "site"
    assert talk.last == []


def test_line_voltage_on_a_control_terminal_ends_the_call(dialogs):
    talk = Talk(dialogs)
    talk.say(*TO_SUPPLY, "one twenty", "yes")
    assert talk.turns.concluded == Concluded(outcome="unsafe")


@pytest.mark.parametrize("step", ["fitted", "new_fuse"])
def test_a_fuse_over_the_marking_is_never_accepted(dialogs, step):
    talk = Talk(dialogs)
    talk.say(*TO_SUPPLY, "twenty seven", *DEAD, "three amps")
    if step == "fitted":
        assert talk.say("ten amps", "yes") == "fuse"
        assert Finding(step="fitted", verdict="over") in talk.last
        return
    talk.say("three amps", "O L", "meter", "point two", "fuse out base off", "sixty ohms")
    talk.say("point nine", "yes", "capacitor safe", "point five", "yes", "repaired", "twelve")
    assert talk.step == "new_fuse"
    for amps in ("five amps", "ten amps"):
        assert talk.say(amps, "yes") == "new_fuse"
    assert talk.say("three amps") == "base_on"


def test_too_big_a_breaker_is_refused(dialogs):
    talk = Talk(dialogs)
    assert talk.say(*TO_METHOD, "breaker", "five amps", "yes") == "method"


def test_a_second_short_is_found_before_the_new_fuse(dialogs):
    talk = Talk(dialogs)
    talk.say(*TO_SWEEP, "sixty ohms", "point nine", "yes", "capacitor safe", "point five", "yes")
    assert talk.say("repaired", "point eight", "yes") == "coil"


def test_no_short_and_no_low_reading_names_nothing(dialogs):
    talk = Talk(dialogs)
    assert talk.say(*TO_SWEEP, "sixty", "fourteen", "fifteen hundred") == "none"
    talk.say("no")
    assert talk.turns.concluded == Concluded(outcome="not_found")


def test_partial_turns_are_followed_when_nothing_is_dead_short(dialogs):
    talk = Talk(dialogs)
    talk.say(*TO_SWEEP, "sixty", "four point seven", "fifteen hundred")
    assert (talk.step, talk.turns.walk.standing.terminal) == ("capacitor", "Y")


def test_leads_are_taken_off_the_reading(dialogs):
    """2.7 ohms is over the far-short limit of 2.6; less 0.2 for the leads it is a short."""
    for leads, verdict in (("point two", "short"), ("zero", "low")):
        talk = Talk(dialogs)
        talk.say(*TO_METHOD, "meter", leads, "fuse out base off", "sixty", "two point seven", "yes")
        verdicts = talk.turns.walk.standing.found("ohms")
        assert verdicts["Y"] == verdict, leads


class TestConversation:
    def test_a_deciding_reading_waits_for_yes(self, dialogs):
        talk = Talk(dialogs)
        assert talk.say(*TO_SWEEP, "sixty", "point nine") == "ohms"
        assert talk.prompts == [dialogs.library.replies.is_that_right]
        assert talk.say("no") == "ohms"
        assert talk.say("point eight", "no point nine", "yes") == "capacitor"
        taken = [m for m in talk.last if isinstance(m, Taken)]
        assert [(t.value.value_si, t.read_back) for t in taken] == [(0.9, "confirmed")]

    def test_correction_later_replaces_and_keeps_both(self, dialogs):
        talk = Talk(dialogs)
        talk.say(*TO_SWEEP, "sixty")
        assert talk.about == "Y"
        talk.say("correction sixteen")
        withdrawn = next(m for m in talk.last if isinstance(m, Withdrawn))
        assert withdrawn.value.value_si == 60.0
        assert talk.turns.walk.standing.found("ohms") == {"G": "low"}
        assert talk.about == "Y"

    def test_back_asks_the_last_thing_again(self, dialogs):
        talk = Talk(dialogs)
        talk.say(*TO_SWEEP, "sixty", "back")
        assert (talk.step, talk.about) == ("ohms", "G")
        assert talk.say("back") == "base"

    def test_a_reading_for_another_terminal_is_taken_there(self, dialogs):
        talk = Talk(dialogs)
        talk.say(*TO_SWEEP, "W fifteen hundred")
        assert talk.turns.walk.standing.found("ohms") == {"W": "fits"}
        assert talk.about == "G"

    def test_skip_passes_over_a_terminal(self, dialogs):
        talk = Talk(dialogs)
        talk.say(*TO_SWEEP, "skip")
        assert talk.about == "Y"
        assert talk.turns.walk.standing.found("ohms") == {"G": "skipped"}

    def test_a_beep_is_not_a_number(self, dialogs):
        talk = Talk(dialogs)
        assert talk.say(*TO_SWEEP, "beep") == "ohms"
        assert talk.prompts == [dialogs.vocabulary.clarify["beep"].reply]

    def test_asking_again_escalates_and_then_holds(self, dialogs):
        replies = dialogs.library.replies
        talk = Talk(dialogs)
        talk.say(*TO_SWEEP)
        first = [talk.say("[unk]") and talk.prompts[0] for _ in range(4)]
        assert first == [replies.say_again, replies.digit_by_digit, replies.digit_by_digit,
                         replies.held]  # fmt: skip
        talk.say("sixty")
        assert talk.prompts == [replies.on_hold]
        assert talk.say("resume", "sixty") == "ohms"  # noise has not changed the power
        assert talk.about == "Y"

    def test_two_meanings_are_offered_as_two_choices(self, dialogs):
        talk = Talk(dialogs)
        talk.say(*TO_SWEEP, "two four")
        offered = {talk.last[0].slots[slot].value_si for slot in ("first", "second")}
        assert offered == {2.4, 24.0}

    def test_a_note_is_taken_word_for_word(self, dialogs):
        talk = Talk(dialogs)
        assert talk.say(*TO_SWEEP, "note", "[unk] splice behind the water heater") == "ohms"
        assert talk.last[0].text == "[unk] splice behind the water heater"

    @pytest.mark.parametrize("said", ["why", "repeat", "status", "help"])
    def test_asking_changes_nothing(self, dialogs, said):
        talk = Talk(dialogs)
        talk.say(*TO_SWEEP)
        before = talk.turns.walk.standing
        talk.say(said)
        assert talk.turns.walk.standing == before
        assert talk.prompts

    def test_nothing_to_correct_at_the_start(self, dialogs):
        talk = Talk(dialogs)
        talk.say("correction")
        assert talk.prompts == [dialogs.library.replies.nothing_to_correct]

    def test_every_value_that_counts_was_read_back(self, dialogs):
        talk = Talk(dialogs)
        for line in (*TO_SWEEP, "sixty", "point nine", "yes"):
            talk.say(line)
            for taken in (m for m in talk.last if isinstance(m, Taken)):
                if isinstance(taken.value, Reading) and taken.read_back == "said_back":
                    assert talk.prompts[0] == dialogs.library.replies.value
