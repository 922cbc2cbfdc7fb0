"""Numbers as a person says them: US style, decimals with "point", digit by digit after it."""

from __future__ import annotations

from decimal import Decimal

from companion.sound_alike import sounds_like

_SMALL = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
    "nineteen",
]  # fmt: skip
_TENS = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_LARGE = ((1_000_000, "million"), (1_000, "thousand"), (100, "hundred"))


def _plain(value: float) -> str:
    """Up to six significant digits, without exponent or trailing zeros."""
    if not abs(value) < 1e9:
        raise ValueError(f"{value} is not a number that a meter shows")
    text = format(Decimal(f"{value:.6g}"), "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def _whole(number: int) -> list[str]:
    if number < 20:
        return [_SMALL[number]]
    if number < 100:
        ones = number % 10
        return [_TENS[number // 10], *([_SMALL[ones]] if ones else [])]
    size, name = next(pair for pair in _LARGE if pair[0] <= number)
    rest = number % size
    return [*_whole(number // size), name, *(_whole(rest) if rest else [])]


def number_words(value: float) -> str:
    """A number in words: ``0.5`` is "zero point five", ``113`` "one hundred thirteen".

    Args:
        value: any number of less than 1e9 in size; said to six significant digits.

    Raises:
        ValueError: the value is larger, or not a number.
    """
    text = _plain(value)
    sign = ["minus"] if text.startswith("-") else []
    whole, _, decimals = text.lstrip("-").partition(".")
    tail = ["point", *(_SMALL[int(digit)] for digit in decimals)] if decimals else []
    return " ".join([*sign, *_whole(int(whole)), *tail])


def digit_words(value: float) -> str:
    """The same number one digit at a time: ``15.5`` is "one five point five".

    Raises:
        ValueError: as ``number_words``.
    """
    said = {"-": "minus", ".": "point"}
    return " ".join(said[c] if c in said else _SMALL[int(c)] for c in _plain(value))


def easily_misheard(value: float) -> bool:
    """Whether its words hold a teen or a bare ten: "fifteen" and "fifty" sound alike.

    Digits after the point are said singly, so they never do.
    """
    whole = abs(int(Decimal(_plain(value))))
    pairs = [whole // size % 100 for size in (1, 1_000, 1_000_000)]
    return any(sounds_like(pair) is not None for pair in pairs)
