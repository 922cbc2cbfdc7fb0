"""What technicians say, and what it means: one table, rejections included."""

import pytest

from companion.datafiles import folder
from companion.expected import Expectation
from companion.understanding import Interpreter, load_vocabulary
from companion.understood import Answer, Command, HeardWord, NotUnderstood, Reading, Utterance

VOCABULARY = load_vocabulary(folder("dialogs"))
HEAR = Interpreter(VOCABULARY, {"usual": 0.5, "safety": 0.8})

OHMS = Expectation(
    step="ohms",
    quantity="resistance",
    most_si=50e6,
    over_limit=True,
    terminals={"Y": ("cooling",), "Y2": (), "W": ("heat",), "W1": (), "G": ("fan",), "O": ()},
)
VOLTS = Expectation(step="supply", quantity="voltage", most_si=600.0)
AMPS = Expectation(step="fuse", quantity="current", most_si=20.0)
TRIP = Expectation(step="breaker", answers=("trips", "holds"), terminals={"Y": ("cooling",)})
TAG = Expectation(step="power_off", answers=("power_off",), sure="safety")


def hear(text: str, expected: Expectation):
    return HEAR.interpret(Utterance(text=text, source="typed"), expected)


@pytest.mark.parametrize(
    ("said", "ohms"),
    [
        ("zero point five ohms", 0.5),
        ("point five", 0.5),
        ("oh point five", 0.5),
        ("o point five ohms", 0.5),
        ("dot five", 0.5),
        ("half an ohm", 0.5),
        ("four tenths", 0.4),
        ("one and a half ohms", 1.5),
        ("zero", 0.0),
        ("zero point zero", 0.0),
        ("dead short", 0.0),
        ("niner point niner", 9.9),
        ("twelve four", 12.4),
        ("twenty six eight", 26.8),
        ("twenty-eight", 28.0),
        ("twelve point oh five", 12.05),
        ("two six point eight", 26.8),
        ("two forty", 240.0),
        ("one fifteen", 115.0),
        ("one oh five", 105.0),
        ("one o five point two", 105.2),
        ("two hundred and forty", 240.0),
        ("a hundred", 100.0),
        ("two four zero", 240.0),
        ("fifteen hundred ohms", 1500.0),
        ("two thousand three hundred", 2300.0),
        ("one point two k", 1200.0),
        ("one point two kilohms", 1200.0),
        ("four k ohms", 4000.0),
        ("three meg ohms", 3e6),
        ("one point five megs", 1.5e6),
        ("it's point five", 0.5),
        ("uh twelve point six", 12.6),
        ("12.6 ohms", 12.6),
    ],
)
def test_ohms(said, ohms):
    assert hear(said, OHMS) == Reading(quantity="resistance", value_si=ohms, said=said)


@pytest.mark.parametrize(
    "said", ["O L", "oh el", "open line", "over limit", "overload", "infinite", "open", "zero L",
             "point L", "zero point L"],
)  # fmt: skip
def test_over_limit_is_never_a_number(said):
    assert hear(said, OHMS) == Reading(quantity="resistance", over_limit=True, said=said)


@pytest.mark.parametrize(
    ("said", "expected", "value"),
    [
        ("twenty eight volts", VOLTS, 28.0),
        ("twenty-six point eight volts A C", VOLTS, 26.8),
        ("two forty", VOLTS, 240.0),
        ("one twenty volts", VOLTS, 120.0),
        ("twenty seven millivolts", VOLTS, 0.027),
        ("three amps", AMPS, 3.0),
        ("twenty two milliamps", AMPS, 0.022),
    ],
)
def test_volts_and_amps(said, expected, value):
    reading = hear(said, expected)
    assert isinstance(reading, Reading)
    assert reading.value_si == value


@pytest.mark.parametrize(
    ("said", "terminal", "ohms"),
    [
        ("Y point five", "Y", 0.5),
        ("why point five ohms", "Y", 0.5),
        ("Y to C point five", "Y", 0.5),
        ("C to Y zero point five ohms", "Y", 0.5),
        ("common to fan sixty ohms", "G", 60.0),
        ("gee sixty", "G", 60.0),
        ("oh forty ohms", "O", 40.0),
        ("oscar forty ohms", "O", 40.0),
        ("double u fifteen hundred", "W", 1500.0),
        ("point five on cooling", "Y", 0.5),
        ("oh zero point five", "O", 0.5),
        ("oh point five", None, 0.5),  # before a point it is the digit
    ],
)
def test_terminals(said, terminal, ohms):
    heard = hear(said, OHMS)
    assert (heard.at, heard.value_si) == (terminal, ohms)


def test_w_one_point_five_is_two_things():
    heard = hear("whiskey one point five", OHMS)
    assert isinstance(heard, NotUnderstood)
    assert {(c.at, c.value_si) for c in heard.candidates} == {("W", 1.5), ("W1", 0.5)}


@pytest.mark.parametrize(
    ("said", "expected", "reason"),
    [
        ("", OHMS, "nothing_heard"),
        ("banana", OHMS, "unknown_words"),
        ("[unk] five", OHMS, "unknown_words"),
        ("two four", OHMS, "ambiguous"),
        ("oh five", OHMS, "ambiguous"),
        ("twelve fifty", OHMS, "ambiguous"),
        ("twelve oh five", OHMS, "ambiguous"),
        ("Y two point five", OHMS, "ambiguous"),
        ("oh", OHMS, "ambiguous"),  # zero, or O L cut short
        ("O ohms", OHMS, "ambiguous"),
        ("oh", VOLTS, "not_asked_here"),
        ("oh volts", VOLTS, "not_asked_here"),
        ("ninety megohms", OHMS, "out_of_range"),
        ("seven hundred volts", VOLTS, "out_of_range"),
        ("minus five", OHMS, "unknown_words"),
        ("twenty eight volts", OHMS, "wrong_unit"),
        ("sixty ohms", VOLTS, "wrong_unit"),
        ("bright", OHMS, "not_asked_here"),
        ("yes", OHMS, "not_asked_here"),
        ("yes", TAG, "not_asked_here"),
        ("power", TAG, "no_meaning"),
        ("point", OHMS, "no_meaning"),
        ("five point", OHMS, "no_meaning"),
        ("hundred", OHMS, "no_meaning"),
        ("point five point five", OHMS, "no_meaning"),
        ("five six ohms volts", OHMS, "no_meaning"),
        ("ohms", OHMS, "no_meaning"),
        ("zero zero five", OHMS, "no_meaning"),
        ("O L", VOLTS, "not_asked_here"),
        ("E trips", TRIP, "no_meaning"),
    ],
)
def test_rejections(said, expected, reason):
    heard = hear(said, expected)
    assert isinstance(heard, NotUnderstood), heard
    assert heard.reason == reason
    assert heard.heard == said


@pytest.mark.parametrize(
    ("said", "name"),
    [("beep", "beep"), ("it beeps", "beep"), ("no beep", "no_beep"), ("nothing", "blank"),
     ("no reading", "blank"), ("jumping around", "jumping")],
)  # fmt: skip
def test_said_in_place_of_a_number(said, name):
    assert hear(said, OHMS) == Answer(name=name, said=said)


def test_answers_with_and_without_a_terminal():
    assert hear("it tripped", TRIP) == Answer(name="trips", said="it tripped")
    assert hear("cooling holds", TRIP) == Answer(name="holds", at="Y", said="cooling holds")
    assert hear("locked out", TAG) == Answer(name="power_off", said="locked out")


@pytest.mark.parametrize(
    ("said", "name"),
    [("stop", "stop"), ("no no stop", "stop"), ("[unk] stop", "stop"), ("repeat", "repeat"),
     ("say again", "repeat"), ("go back", "back"), ("skip it", "skip"), ("why", "why"),
     ("Y", "why"), ("where was I", "status"), ("make a note", "note"), ("help", "options"),
     ("no", "correction"), ("correction", "correction")],
)  # fmt: skip
def test_commands(said, name):
    heard = hear(said, OHMS)
    assert isinstance(heard, Command)
    assert heard.name == name


@pytest.mark.parametrize(
    "said", ["no point six", "correction zero point six ohms", "make that point six",
             "change that to point six"],
)  # fmt: skip
def test_correction_with_a_value(said):
    heard = hear(said, OHMS)
    assert isinstance(heard, Command)
    assert heard.name == "correction"
    assert heard.reading.value_si == 0.6


def test_a_correction_is_about_the_step_before():
    asked_now = TRIP.model_copy(update={"corrects": VOLTS})
    assert hear("no twenty seven", asked_now).reading.value_si == 27.0


def test_an_unsure_word_is_asked_again_and_stop_never_is():
    def heard(text: str, confidence: float, expected: Expectation):
        words = tuple(HeardWord(text=w, confidence=confidence) for w in text.split())
        said = Utterance(text=text, source="microphone", words=words)
        return HEAR.interpret(said, expected)

    assert heard("point five", 0.6, OHMS).kind == "reading"
    assert heard("point five", 0.4, OHMS).reason == "unsure"
    assert heard("power off", 0.7, TAG).reason == "unsure"
    assert heard("stop", 0.01, TAG).name == "stop"


def test_dictation_takes_words_as_they_come_but_not_stop():
    dictating = OHMS.model_copy(update={"dictation": True})
    assert hear("[unk] wire [unk] roof", dictating) == Command(
        name="note", said="[unk] wire [unk] roof"
    )
    assert hear("stop", dictating).name == "stop"


@pytest.mark.parametrize(
    ("said", "expected", "settled"),
    [
        ("zero point five ohms", OHMS, True),
        ("zero point five", OHMS, False),  # "zero point five two"
        ("twenty", VOLTS, False),
        ("twenty seven volts", VOLTS, True),
        ("zero point", OHMS, False),
        ("o l", OHMS, True),
        ("holds", TRIP, True),
        ("power off", TAG, False),  # "power off and locked out"
        ("locked out", TAG, True),
        ("yes", OHMS.model_copy(update={"answers": ("yes", "no")}), True),
        ("no", OHMS.model_copy(update={"answers": ("yes", "no")}), False),  # "no, point five"
        ("stop", OHMS, True),
        ("note", OHMS, False),
        ("banana", OHMS, False),
    ],
)
def test_when_there_is_no_need_to_wait_for_more(said, expected, settled):
    assert HEAR.settled(said, expected) is settled
