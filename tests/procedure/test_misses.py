"""What is not understood: asked again, by two choices, digit by digit, held; and never for ever."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.messages import Concluded, Taken
from companion.speaking.numbers import digit_words, easily_misheard, number_words
from companion.turns import Turns
from companion.understood import HeardWord, Utterance
from tests.conftest import DEAD, TO_HUNT, TO_SUPPLY, Talk, opened
from tests.procedure.anyhow import in_order


def call(dialogs, *lines: str) -> Talk:
    """A call after some lines, with ears that can be unsure."""
    found = Talk(dialogs, counsel_for=in_order)
    ears = opened(dialogs).model_copy(update={"floor": {"usual": 0.5, "safety": 0.5}})
    found.turns = Turns(dialogs, ears, in_order)
    found.last = found.turns.begin()
    found.say(*lines)
    return found


@pytest.fixture
def talk(dialogs) -> Talk:
    found = call(dialogs, *TO_HUNT)
    assert found.step == "hunt"
    return found


def in_a_din(talk: Talk, *lines: str) -> list[str]:
    """Lines whose words the ears are unsure of; the first prompt that follows each."""
    said = []
    for line in lines:
        words = tuple(HeardWord(text=word, confidence=0.3) for word in line.split())
        unsure = Utterance(text=line, source="microphone", words=words)
        talk.last = talk.turns.take(talk.turns.understand(unsure))
        said.append(talk.prompts[0])
    return said


def taken(talk: Talk) -> list[float]:
    return [m.value.value_si for m in talk.last if isinstance(m, Taken)]


def test_asked_again_then_digit_by_digit_then_held(talk, dialogs):
    replies = dialogs.library.replies
    first = [talk.say("[unk]") and talk.prompts[0] for _ in range(4)]
    assert first == [replies.say_again, replies.digit_by_digit, replies.digit_by_digit,
                     replies.held_or_skip]  # fmt: skip
    talk.say("sixty")
    assert talk.prompts == [replies.held_or_skip]
    assert talk.say("resume", "sixty") == "hunt"  # noise has not changed the power
    assert talk.about == "ohms Y-C at the board"


def test_a_number_without_its_last_digit_is_never_guessed(dialogs):
    talk = call(dialogs, *TO_SUPPLY, "zero volts")
    for _ in range(3):
        talk.say("twenty seven point volts")
        assert taken(talk) == []
    assert talk.say("two seven point two volts") == "marked"


@pytest.mark.parametrize(
    ("answer", "ohms"),
    [("one five ohms", 15.0), ("five zero", 50.0), ("the first", 15.0), ("the second", 50.0),
     ("fifteen", 15.0)],
)  # fmt: skip
def test_fifteen_or_fifty_is_a_choice_of_two(talk, dialogs, answer, ohms):
    replies = dialogs.library.replies
    assert in_a_din(talk, "fifteen ohms", "fifteen ohms") == [replies.unsure, replies.two_choices]
    talk.say(answer)
    assert taken(talk) == [ohms]
    assert talk.prompts[0] == replies.value  # and said back, as any other


def test_what_was_heard_in_two_ways_is_offered_in_both(talk, dialogs):
    in_a_din(talk, "four ohms", "nine ohms")
    assert {str(value) for value in talk.last[0].slots.values()} == {"4 Ω", "9 Ω"}
    assert in_a_din(talk, "four ohms") == [dialogs.library.replies.digit_by_digit]


def test_a_choice_is_offered_once_and_forgotten_when_something_else_is_said(talk):
    in_a_din(talk, "fifteen ohms", "fifteen ohms")
    talk.say("why", "the first")
    assert taken(talk) == []
    assert talk.about == "ohms G-C at the board"


def test_neither_word_picks_a_number_that_safety_rests_on(dialogs):
    talk = call(dialogs, *TO_SUPPLY, "zero volts", "twenty seven", "three amps", *DEAD[:2])
    assert talk.step == "zero_volts"
    in_a_din(talk, "fifteen volts", "fifteen volts")
    for said in ("the first", "the second", "yes"):
        talk.say(said)
        assert talk.step == "zero_volts"
        assert taken(talk) == []


def test_two_four_digit_by_digit_is_twenty_four(talk, dialogs):
    talk.say("[unk]", "[unk]", "two four ohms")
    assert taken(talk) == [24.0]


def test_a_run_that_begins_with_a_zero_lacks_its_point(talk, dialogs):
    talk.say("[unk]", "[unk]", "zero five ohms")
    assert taken(talk) == []
    assert talk.prompts == [dialogs.library.replies.two_choices]


@given(st.one_of(st.integers(1, 999).map(float), st.integers(1, 9999).map(lambda n: n / 10)))
def test_any_number_can_be_said_digit_by_digit(dialogs, value):
    talk = call(dialogs, *TO_HUNT, "[unk]", "[unk]", f"{digit_words(value)} ohms")
    assert taken(talk) == [value]


@given(st.integers(1, 999))
def test_two_that_sound_alike_are_offered_together(dialogs, number):
    talk = call(dialogs, *TO_HUNT)
    in_a_din(talk, *[f"{number_words(number)} ohms"] * 2)
    offered = talk.prompts == [dialogs.library.replies.two_choices]
    assert offered == easily_misheard(number)
    if offered:
        first, second = (talk.last[0].slots[slot].value_si for slot in ("first", "second"))
        assert first == number != second
        assert easily_misheard(second)


def test_words_that_are_missed_are_told(dialogs):
    talk = call(dialogs, "site clear", "[unk]", "[unk]")
    assert talk.prompts[0] == dialogs.library.replies.one_of
    said = talk.last[0].slots["options"].split(", ")
    assert 2 <= len(said) <= 4
    assert talk.say(said[0]) == "equipment"


def test_a_test_that_is_missed_can_be_skipped_out_of_the_hold(talk):
    talk.say(*["[unk]"] * 4, "skip")
    assert talk.about == "ohms Y-C at the board"


def test_after_a_hold_the_digits_are_asked_for_at_once(talk, dialogs):
    talk.say(*["[unk]"] * 4, "resume")
    assert talk.prompts[-1] == dialogs.library.replies.digit_by_digit
    talk.say("two four")
    assert taken(talk) == [24.0]


def test_a_call_that_can_not_go_on_may_be_closed_at_the_second_hold(dialogs):
    replies = dialogs.library.replies
    talk = call(dialogs, *TO_SUPPLY, "zero volts", *["[unk]"] * 4)
    assert talk.prompts == [replies.held]
    talk.say("close the call")
    assert talk.turns.concluded is None  # once may be the noise
    talk.say("resume", *["[unk]"] * 4)
    assert talk.prompts == [replies.held_or_close]
    talk.say("close the call")
    assert talk.prompts == [replies.left_here]
    assert talk.last[-1] == Concluded(outcome="not_found")


def test_a_value_between_two_holds_makes_the_second_the_first(dialogs):
    talk = call(dialogs, *TO_SUPPLY, "zero volts", *["[unk]"] * 4, "resume", "twenty seven", "back")
    talk.say(*["[unk]"] * 4)
    assert talk.prompts == [dialogs.library.replies.held]


def test_stop_is_heard_in_a_hold_and_power_is_proven_anew(talk):
    assert talk.say(*["[unk]"] * 4, "stop", "resume") == "power_off"


def test_a_step_that_safety_rests_on_is_not_skipped_out_of_a_hold(dialogs):
    talk = call(
        dialogs, *TO_SUPPLY, "zero volts", "twenty seven", "three amps", *DEAD[:2], *["[unk]"] * 4
    )
    talk.say("skip", "yes")
    assert talk.step == "zero_volts"
