"""Numbers in words, against an independent maker of number words."""

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from companion.speaking.numbers import digit_words, easily_misheard, number_words

# What a meter can show: up to six digits, the point anywhere, up to 50 megohms.
shown = st.builds(
    lambda digits, shift: Decimal(digits).scaleb(shift), st.integers(0, 999_999), st.integers(-6, 3)
).filter(lambda value: value <= 50_000_000)


def theirs(value: Decimal) -> str:
    words = num2words(value)
    return re.sub(r"\s+", " ", words.replace("-", " ").replace(",", " ").replace(" and ", " "))


@given(shown)
def test_says_every_number_as_an_independent_library_does(value: Decimal) -> None:
    assert number_words(float(value)) == theirs(value.normalize() if value else Decimal(0))


@given(shown)
def test_digits_read_back_to_the_same_number(value: Decimal) -> None:
    digits = {"zero": "0", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5",
              "six": "6", "seven": "7", "eight": "8", "nine": "9", "point": "."}  # fmt: skip
    assert Decimal("".join(digits[word] for word in digit_words(float(value)).split())) == value


@given(shown)
def test_only_teens_and_bare_tens_are_said_twice(value: Decimal) -> None:
    teens = ["thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]
    tens = ["thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
    ones = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    words = number_words(float(value)).partition(" point")[0].split()
    bare = [
        word for word, after in zip(words, [*words[1:], ""], strict=True)
        if word in tens and after not in ones
    ]  # fmt: skip
    assert easily_misheard(float(value)) == bool(bare or set(words) & set(teens))


@pytest.mark.parametrize("value", [1e9, float("inf"), float("nan")])
def test_no_words_for_what_no_meter_shows(value: float) -> None:
    with pytest.raises(ValueError, match="meter"):
        number_words(value)


def test_a_negative_reading_keeps_its_sign() -> None:
    assert number_words(-0.3) == "minus zero point three"
    assert digit_words(-13) == "minus one three"
    assert easily_misheard(-13)
