"""Number, to words, and back: our own words and those of an independent library."""

from decimal import Decimal
from itertools import pairwise

import num2words
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.datafiles import folder
from companion.expected import Expectation
from companion.speaking.wording import number_words
from companion.understanding import Interpreter, load_vocabulary, phrases_for
from companion.understanding.numbers import SpokenNumbers
from companion.understood import NotUnderstood, Reading, Utterance

VOCABULARY = load_vocabulary(folder("dialogs"))
NUMBERS = SpokenNumbers(VOCABULARY.numbers)
HEAR = Interpreter(VOCABULARY)

meter_values = st.one_of(
    st.decimals(0, 50_000_000, places=0),
    st.decimals(0, 99_999, places=1),
    st.decimals(0, 999, places=2),
    st.decimals(0, 9, places=3),
)


def parse(words: str) -> set[Decimal]:
    return set(NUMBERS.parse(VOCABULARY.tokens(words)))


@given(meter_values)
def test_what_the_companion_says_it_can_hear(value):
    said = Decimal(f"{float(value):.6g}")  # a meter shows no more digits than six
    assert parse(number_words(float(value))) == {said}


@given(meter_values)
def test_number_words_of_an_independent_library(value):
    words = num2words.num2words(value, lang="en").replace(",", "")
    assert parse(words) == {value}


@given(st.integers(0, 50_000_000), st.sampled_from(["ohms", "kilohms", "megohms"]))
def test_readings_keep_their_unit_and_their_range(value, unit):
    expected = Expectation(step="x", quantity="resistance", most_si=50e6)
    said = f"{num2words.num2words(value).replace(',', '')} {unit}"
    factor = {"ohms": 1, "kilohms": 1_000, "megohms": 1_000_000}[unit]
    heard = HEAR.interpret(Utterance(text=said, source="typed"), expected)
    if value * factor <= 50e6:
        assert heard == Reading(quantity="resistance", value_si=float(value * factor), said=said)
    else:
        assert isinstance(heard, NotUnderstood)
        assert heard.reason == "out_of_range"


number_words_in_any_order = st.lists(st.sampled_from(sorted(NUMBERS.vocabulary)), max_size=7)


@given(number_words_in_any_order)
def test_words_in_any_order_are_a_number_or_are_not(words):
    for value in parse(" ".join(words)):
        assert 0 <= value < 1_000_000_000
        assert value == value.normalize()


@pytest.mark.parametrize("quantity", ["resistance", "voltage", "current"])
def test_the_phrase_list_holds_every_pair_of_words_in_a_reading(quantity):
    """The recogniser's bigram can only emit pairs of words that the list has."""
    expected = Expectation(step="x", quantity=quantity, most_si=1000.0, over_limit=True)
    listed = phrases_for(expected, VOCABULARY)
    pairs = {pair for phrase in listed for pair in _pairs(phrase)}
    unit = VOCABULARY.units_of(quantity)[1]
    missing = set()
    for tenths in range(10_000):
        said = " ".join(VOCABULARY.tokens(f"{number_words(tenths / 10)} {unit}"))
        missing |= _pairs(said) - pairs
    assert not missing


def _pairs(phrase: str) -> set[tuple[str, str]]:
    words = ["<s>", *phrase.split(), "</s>"]
    return set(pairwise(words))


# ICAO Annex 10 vol. II, from memory (numbers in radiotelephony): the pronunciation differs, the
# words are these; "niner" is the only one that is not everyday English.
ICAO_DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "niner"]


def test_icao_digits():
    assert [parse(word) for word in ICAO_DIGITS] == [{Decimal(digit)} for digit in range(10)]
