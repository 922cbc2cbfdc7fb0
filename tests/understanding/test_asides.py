"""What is said beside the question: skipping with a reason, revising, asking."""

from __future__ import annotations

import pytest

from companion.expected import Expectation
from companion.understanding import Interpreter, phrases_for
from companion.understood import Answer, Command, NotUnderstood, Reading, Utterance

HUNT = Expectation(
    step="hunt", quantity="resistance", most_si=50e6, over_limit=True,
    terminals={"Y": ("cooling",), "G": ("fan",), "W2": ("auxiliary heat",)},
    read={"Y": "resistance", "W2": "voltage"},
)  # fmt: skip


@pytest.fixture
def hear(dialogs):
    interpreter = Interpreter(dialogs.vocabulary)
    return lambda text, expected=HUNT: interpreter.interpret(
        Utterance(text=text, source="typed"), expected
    )


def ohms(value: float | None) -> Reading:
    return Reading(quantity="resistance", value_si=value, over_limit=value is None)


@pytest.mark.parametrize(
    ("said", "at", "value"),
    [
        ("change the Y reading to four ohms", "Y", 4.0),
        ("change Y to four point five", "Y", 4.5),
        ("change the cooling reading to O L", "Y", None),
        ("correct the yankee reading to point four", "Y", 0.4),
    ],
)
def test_revising_an_earlier_reading(hear, said, at, value):
    heard = hear(said)
    assert (heard.name, heard.at) == ("revise", at)
    assert heard.reading.same_value(ohms(value))


def test_a_revision_is_in_the_unit_of_what_was_read(hear):
    heard = hear("change the W two reading to twenty six")
    assert (heard.name, heard.at, heard.reading.quantity) == ("revise", "W2", "voltage")
    assert isinstance(hear("change the Y reading to four volts"), NotUnderstood)


@pytest.mark.parametrize("said", ["change the G reading to four", "change the reading to four"])
def test_nothing_was_read_there(hear, said):
    assert isinstance(hear(said), NotUnderstood)


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        ("skip", None),
        ("can't reach it", "cannot_reach"),
        ("skip it can't reach", "cannot_reach"),
        ("skip not safe", "not_safe"),
        ("it's not there", "not_fitted"),
    ],
)
def test_skipping_with_and_without_a_reason(hear, said, reason):
    heard = hear(said)
    assert (heard.name, heard.reason) == ("skip", reason)


@pytest.mark.parametrize(
    ("said", "name", "at"),
    [
        ("how far out is it", "how_far", None),
        ("what should that coil read", "should_read", None),
        ("what should Y read", "should_read", "Y"),
        ("what should the coil read", "should_read", None),
        ("how sure are you", "how_sure", None),
        ("what's left", "left", None),
        ("undo", "back", None),
        ("back to work", "work", None),
        ("hand over", "hand_over", None),
        ("i did something else", "else", None),
        ("long version", "explain", None),
    ],
)
def test_questions_and_commands(hear, said, name, at):
    heard = hear(said)
    assert (heard.name, heard.at) == (name, at)


@pytest.mark.parametrize("said", ["can this transformer carry another two amps",
                                  "can it carry two more amps"])  # fmt: skip
def test_asking_what_the_transformer_can_carry(hear, said):
    heard = hear(said)
    assert (heard.name, heard.reading.value_si) == ("can_carry", 2.0)


@pytest.mark.parametrize(
    ("said", "terminals"),
    [
        ("R C Y G W", ("R", "C", "Y", "G", "W")),
        ("red", None),
        ("R and C and Y one and Y two", ("R", "C", "Y1", "Y2")),
        ("romeo charlie whiskey two oscar", ("R", "C", "W2", "O")),
        ("R C Y ladder", None),
    ],
)
def test_terminals_landed_on_a_board(hear, said, terminals):
    heard = hear(said, Expectation(step="landed", landed=True))
    if terminals is None:
        assert isinstance(heard, NotUnderstood)
    else:
        assert heard == Answer(name="landed", terminals=terminals, said=said)


def test_while_waiting_only_the_call_back_is_heard(hear, dialogs):
    waiting = Expectation(step="hold", only=("stop", "work"))
    assert hear("back to work", waiting) == Command(name="work", said="back to work")
    assert isinstance(hear("skip", waiting), NotUnderstood)
    assert hear("please stop that", waiting).name == "stop"
    assert "skip" not in phrases_for(waiting, dialogs.vocabulary)


def test_each_question_that_is_listened_for_is_understood(hear, dialogs):
    listed = phrases_for(HUNT, dialogs.vocabulary)
    for start in ("what should", "can it carry"):
        found = [phrase for phrase in listed if phrase.startswith(start)]
        assert found
        assert all(isinstance(hear(phrase), Command) for phrase in found)
    revisions = [phrase for phrase in listed if phrase.startswith("change the y reading two")]
    assert any(isinstance(hear(phrase), Command) for phrase in revisions)
