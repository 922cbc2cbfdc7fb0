"""What a technician types, and what must not change its value on the way."""

import io
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.hearing.typed import TypedEars, tidy


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("Zero point five ohms.", "zero point five ohms"),
        ("twenty-two milliamps", "twenty two milliamps"),
        ("It's OL!", "it's ol"),
        ("can’t reach it", "can't reach it"),
        ("Y - C", "y c"),
        ("R–C", "r c"),
        ("O/B, 40", "o b 40"),
        ("0.5 ohms", "0.5 ohms"),
        ("0.5.", "0.5"),
        ("(.5)", ".5"),
        ("-0.5", "minus 0.5"),
        ("−.5 V", "minus .5 v"),
        ("(-0.5)", "minus 0.5"),
        ("12-16", "12 16"),
        ("1,5", "1,5"),
        ("1,200", "1,200"),
        ("<5", "<5"),
        ("'yes'", "yes"),
        ("no, point five", "no point five"),
    ],
)
def test_a_line_as_it_is_meant(line: str, words: str) -> None:
    assert " ".join(tidy(line)) == words


def test_lines_come_one_by_one_until_the_stream_ends() -> None:
    ears = TypedEars(io.StringIO("Y-C\n\n   \n...\nzero point five ohms\n"))
    first, second = ears.listen(["y c"]), ears.listen([])
    assert first is not None
    assert second is not None
    assert (first.text, second.text) == ("y c", "zero point five ohms")
    assert first.source == "typed"
    assert [word.text for word in second.words] == ["zero", "point", "five", "ohms"]
    assert second.least_confidence is None
    assert ears.listen([]) is None
    assert ears.listen([]) is None


@given(st.text(string.printable))
def test_tidying_twice_changes_nothing_more(line: str) -> None:
    once = tidy(line)
    assert tidy(" ".join(once)) == once
    assert all(word == word.lower() and word.strip() == word for word in once)


@given(st.floats(-1e6, 1e6).map("{:.6f}".format), st.sampled_from(["", ".", "!", " V"]))
def test_a_typed_number_keeps_its_value_and_sign(number: str, after: str) -> None:
    first, *rest = tidy(number + after)
    value = -float(rest[0]) if first == "minus" else float(first)
    assert value == float(number)
