"""The talk around a step: read-back, correction at any time, commands, asking again."""

from __future__ import annotations

import pytest

from companion.messages import (
    CallResumed,
    HandOver,
    Manner,
    Mark,
    Note,
    Prompt,
    Styled,
    Taken,
    Withdrawn,
)
from companion.understood import Reading, Utterance
from tests.conftest import DEAD, TO_HUNT, TO_METHOD, Talk
from tests.procedure.anyhow import CARDS, Anyhow, InOrder, in_order


@pytest.fixture
def talk(dialogs) -> Talk:
    found = Talk(dialogs, counsel_for=in_order)
    assert found.say(*TO_HUNT) == "hunt"
    assert found.about == "ohms G-C at the board"
    return found


def read(talk: Talk) -> dict[str, float | None]:
    return {
        e.test: e.value.value_si if isinstance(e.value, Reading) else None
        for e in talk.turns.walk.standing.evidence
    }


def test_a_deciding_reading_waits_for_yes(talk, dialogs):
    talk.say("sixty", "twelve")
    assert talk.say("fifteen hundred") == "hunt"
    assert talk.prompts == [dialogs.library.replies.is_that_right]
    assert talk.say("no") == "hunt"
    assert talk.say("fourteen hundred", "yes") == "named"
    taken = [m for m in talk.last if isinstance(m, Taken)]
    assert [(t.value.value_si, t.read_back) for t in taken] == [(1400.0, "confirmed")]


def confirmed(talk: Talk) -> dict[str, bool]:
    return {e.test: e.confirmed for e in talk.turns.walk.standing.evidence}


G, Y, W = (f"ohms {terminal}-C at the board" for terminal in "GYW")


@pytest.mark.parametrize("said", ["yes", "fifteen hundred"])
def test_a_reading_that_was_confirmed_is_evidence_as_such(talk, said):
    talk.say("sixty", "twelve", "fifteen hundred", said)
    assert confirmed(talk) == {G: False, Y: False, W: True}


def test_a_correction_replaces_what_was_confirmed(talk):
    talk.say("sixty", "twelve", "fifteen hundred", "yes", "no fourteen hundred")
    assert confirmed(talk) == {G: False, Y: False}  # said to be wrong, so it waits for its own
    talk.say("yes")
    assert confirmed(talk)[W]
    assert read(talk)[W] == 1400.0


def test_a_changed_reading_is_a_confirmed_one(talk):
    talk.say("sixty", "twelve", "change the G reading to fifty")
    assert confirmed(talk) == {G: False, Y: False}
    talk.say("yes")
    assert confirmed(talk) == {G: True, Y: False}


def test_what_was_confirmed_is_so_in_a_call_that_is_gone_on_with(talk, dialogs):
    lines = (*TO_HUNT, "sixty", "twelve", "fifteen hundred", "yes")
    again = Talk(dialogs, counsel_for=in_order)
    again.say(*lines)
    talk.say("sixty", "twelve", "fifteen hundred", "yes")
    for one in (talk, again):
        one.last = one.turns.resumed(CallResumed())
    assert confirmed(again) == confirmed(talk) == {G: False, Y: False, W: True}
    assert again.last == talk.last


def test_a_number_that_ends_the_call_is_said_twice(dialogs):
    talk = Talk(dialogs)
    talk.say("site clear", "fuse blows", "gas furnace", "none", "nothing known")
    assert talk.say("thermostat off", "all clear") == "supply"
    for answer in ("yes", "twenty four"):
        talk.say("two forty volts")
        assert talk.prompts == [dialogs.library.replies.say_number_again]
        assert talk.say(answer) == ("supply" if answer == "yes" else "ground")
        talk.say("back")
    talk.say("two forty volts", "two hundred forty volts")
    assert talk.turns.concluded.outcome == "unsafe"


def test_a_reading_that_decides_nothing_is_said_back_and_counts(talk, dialogs):
    talk.say("sixty")
    assert talk.prompts[0] == dialogs.library.replies.value
    assert talk.about == "ohms Y-C at the board"


def test_correction_of_the_last_reading_replaces_it_and_keeps_both(talk):
    talk.say("sixty", "correction sixteen")
    withdrawn = next(m for m in talk.last if isinstance(m, Withdrawn))
    assert withdrawn.value.value_si == 60.0
    assert read(talk) == {"ohms G-C at the board": 16.0}


def test_an_earlier_reading_is_changed_by_its_terminal(talk, dialogs):
    talk.say("sixty", "twelve", "change the G reading to fifty")
    assert talk.prompts == [dialogs.library.replies.revise]
    assert read(talk)["ohms G-C at the board"] == 60.0  # not before it is confirmed
    talk.say("yes")
    assert read(talk) == {"ohms G-C at the board": 50.0, "ohms Y-C at the board": 12.0}
    assert [m.kind for m in talk.last if m.kind in {"withdrawn", "taken", "suspicion"}] == [
        "withdrawn", "taken", "suspicion",
    ]  # fmt: skip
    assert talk.about == "ohms W-C at the board"


def test_a_change_that_is_not_confirmed_changes_nothing(talk):
    talk.say("sixty", "change the G reading to fifty", "no")
    assert read(talk) == {"ohms G-C at the board": 60.0}


def test_undo_asks_the_last_thing_again(talk):
    assert talk.say("sixty", "undo") == "hunt"
    assert talk.about == "ohms G-C at the board"
    assert talk.say("back") == "leads"


def test_a_reading_for_another_terminal_is_taken_there(talk):
    talk.say("W fifteen hundred")
    assert read(talk) == {"ohms W-C at the board": 1500.0}
    assert talk.about == "ohms G-C at the board"


def test_a_reading_at_a_terminal_that_is_not_there_is_asked_again(talk):
    talk.say("O four ohms")
    assert read(talk) == {}


@pytest.mark.parametrize(("said", "verdict"), [("skip", "skipped"),
                                               ("can't reach it", "cannot_reach")])  # fmt: skip
def test_a_test_that_is_skipped_is_not_asked_again(talk, said, verdict):
    talk.say(said)
    assert talk.about == "ohms Y-C at the board"
    assert talk.turns.walk.standing.found("hunt") == {"ohms G-C at the board": verdict}
    assert read(talk) == {"ohms G-C at the board": None}


def test_something_else_gives_any_terminal_a_place(talk, dialogs):
    talk.say("sixty", "i did something else")
    assert talk.prompts[-1] == dialogs.library.replies.something_else
    talk.say("W point five")
    assert read(talk)["ohms W-C at the board"] == 0.5


def test_the_method_changes_in_mid_call_without_losing_what_was_read(talk):
    talk.say("sixty", "another method", "lamp")
    assert read(talk) == {"ohms G-C at the board": 60.0}
    assert talk.turns.walk.standing.setting("means", "") == "lamp"


def test_a_beep_is_not_a_number(talk, dialogs):
    assert talk.say("beep") == "hunt"
    assert talk.prompts == [dialogs.vocabulary.clarify["beep"].reply]


def test_silence_is_left_alone(talk):
    for _ in range(9):
        talk.say("")
        assert talk.last == []
    assert talk.say("sixty") == "hunt"


def test_two_meanings_are_offered_as_two_choices(talk):
    talk.say("two four")
    offered = {talk.last[0].slots[slot].value_si for slot in ("first", "second")}
    assert offered == {2.4, 24.0}


def test_a_note_is_taken_word_for_word_with_its_clip(talk):
    talk.say("take a note")
    heard = Utterance(text="[unk] splice behind the heater", source="wav", clip="heard-7.flac")
    last = talk.turns.take(talk.turns.understand(heard))
    assert last[0] == Note(text="[unk] splice behind the heater", clip="heard-7.flac")


@pytest.mark.parametrize(
    "said",
    ["why", "repeat", "where was I", "help", "more", "how sure are you", "what's left", "summary",
     "how far out is it", "what should Y read", "can it carry another two amps", "mark this"],
)  # fmt: skip
def test_asking_changes_nothing_and_repeats_the_question(talk, said):
    talk.say("sixty")
    before = talk.turns.walk.standing
    talk.say(said)
    assert talk.turns.walk.standing == before
    assert talk.prompts[-1] == talk.turns.walk.step.say


def test_a_question_in_between_keeps_a_reading_waiting(talk, dialogs):
    talk.say("sixty", "twelve", "fifteen hundred", "how sure are you")
    assert talk.prompts[-1] == dialogs.library.replies.is_that_right
    assert talk.say("yes") == "named"


def test_a_mark_is_a_moment_to_find_again(talk):
    talk.say("mark this")
    assert Mark(step="hunt") in talk.last


def test_slower_louder_and_back_again(talk):
    talk.say("slower", "slower", "louder")
    manner = next(m for m in talk.last if isinstance(m, Manner))
    assert manner.pace == pytest.approx(1 / 1.44)
    assert manner.loudness == pytest.approx(1.5)
    for _ in range(30):
        talk.say("faster")
    assert next(m for m in talk.last if isinstance(m, Manner)).pace == 2.0


def test_short_and_long_versions(dialogs):
    talk = Talk(dialogs, counsel_for=in_order)
    talk.say("site clear", "keep it short")
    assert Styled(style="brief") in talk.last
    assert talk.prompts[-1] == dialogs.library.procedure.steps["complaint"].brief
    talk.say("long version", "fuse blows")
    asked = dialogs.library.procedure.steps["equipment"]
    assert talk.prompts[-2:] == [asked.why, asked.say]
    talk.say("long version", "furnace")  # said twice: the usual again
    assert dialogs.library.procedure.steps["accessories"].why not in talk.prompts


def test_waiting_hears_nothing_but_the_call_back(talk):
    talk.say("wait")
    for said in ("sixty", "resume", "skip", "[unk]", "yes"):
        talk.say(said)
        assert talk.last == []
    assert talk.say("back to work") == "hunt"
    assert talk.say("sixty") == "hunt"
    assert read(talk) == {"ohms G-C at the board": 60.0}


def test_stop_is_heard_while_waiting(talk, dialogs):
    talk.say("wait", "uh stop")
    assert talk.prompts == [dialogs.library.replies.stopped]
    assert talk.say("resume") == "power_off"


def test_handing_over_briefs_and_starts_from_the_power(talk):
    talk.say("sixty", "hand over")
    assert any(isinstance(m, HandOver) for m in talk.last)
    assert talk.step == "power_off"
    talk.say(*DEAD, "fuse out base off", "point two")
    assert talk.about == "ohms Y-C at the board"
    assert read(talk) == {"ohms G-C at the board": 60.0}


def test_nothing_to_correct_at_the_start(dialogs):
    talk = Talk(dialogs)
    talk.say("correction")
    assert talk.prompts == [dialogs.library.replies.nothing_to_correct]


def test_no_method_to_change_before_there_is_one(dialogs):
    talk = Talk(dialogs)
    talk.say("site clear", "change method")
    assert dialogs.library.replies.no_method_yet in talk.prompts
    assert talk.step == "complaint"


def test_what_is_landed_makes_the_equipment(dialogs):
    talk = Talk(dialogs)
    talk.say("site clear", "fuse blows", "on the board", "R C Y G W", "yes")
    assert talk.step == "accessories"
    terminals = [c.terminal for c in talk.turns.walk.standing.profile.circuits]
    assert sorted(terminals) == ["G", "W", "Y"]


@pytest.mark.parametrize("said", ["R C", "C R"])
def test_a_board_without_calls_is_asked_again(dialogs, said):
    talk = Talk(dialogs)
    assert talk.say("site clear", "fuse blows", "on the board", said) == "landed"
    assert dialogs.library.replies.cannot_fit in talk.prompts


def test_an_accessory_is_fitted_once_and_swept(dialogs):
    talk = Talk(dialogs)
    talk.say("site clear", "fuse blows", "furnace", "humidifier", "humidifier")
    terminals = [c.terminal for c in talk.turns.walk.standing.profile.circuits]
    assert terminals.count("HUM") == 1


def test_every_value_that_counts_was_read_back(talk, dialogs):
    for line in ("sixty", "twelve", "fifteen hundred", "yes"):
        talk.say(line)
        for taken in (m for m in talk.last if isinstance(m, Taken)):
            if isinstance(taken.value, Reading) and taken.read_back == "said_back":
                assert talk.prompts[0] == dialogs.library.replies.value


def test_the_reasons_of_a_test_are_its_own(talk):
    talk.say("why")
    assert talk.prompts[0] == CARDS["ohms G-C at the board"].why
    assert all(isinstance(m, Prompt) for m in talk.last)


def test_too_big_a_breaker_is_refused(dialogs):
    class Breaker(Anyhow):
        def next(self, heard, allowed):
            return "breaker, R to G" if "breaker, R to G" in allowed else None

    talk = Talk(dialogs, counsel_for=lambda equipment, *_: Breaker(equipment))
    assert talk.say(*TO_METHOD, "breaker") == "breaker_rating"
    assert talk.say("five amps", "five amps") == "method"
    assert talk.say("breaker", "three amps", "three amps", "breaker ready") == "clear"
    assert talk.say("all clear") == "hunt"


class InOrderIfRead(InOrder):
    """The same, but sure only of what was read."""

    def suspicion(self, heard):
        return super().suspicion([e for e in heard if e.value is not None])


def test_what_was_skipped_and_would_tell_is_offered_at_the_end(dialogs):
    talk = Talk(dialogs, counsel_for=lambda equipment, *_: InOrderIfRead(equipment))
    talk.say(*TO_HUNT)
    assert talk.say("sixty", "twelve", "skip") == "unclear"
    told = [m for m in talk.last if isinstance(m, Prompt) and "skipped would tell" in m.template]
    assert [m.slots["likeliest"] for m in told] == ["contactor coil"]
    assert talk.say("more tests", "meter") == "hunt"
    assert talk.about == W
    assert talk.say("fifteen hundred", "yes") == "named"


def test_nothing_that_was_skipped_is_offered_where_it_would_not_tell(dialogs):
    talk = Talk(dialogs, counsel_for=in_order)
    talk.say(*TO_HUNT)
    assert talk.say("sixty", "twelve", "skip") == "named"


def test_whoever_leaves_it_is_told_whom_to_suspect(dialogs):
    talk = Talk(dialogs, counsel_for=lambda equipment, *_: InOrderIfRead(equipment))
    talk.say(*TO_HUNT, "sixty", "twelve", "skip", "not repaired")
    (last,) = [m for m in talk.last if isinstance(m, Prompt)]
    assert last.slots == {"likeliest": "contactor coil"}
