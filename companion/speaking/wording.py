"""What a prompt looks like on the screen, and how the same prompt is said.

The ear's text is made from the eye's, so the two can't differ in what they state.
"""

from __future__ import annotations

import re

from companion.errors import DataFileError
from companion.messages import Prompt
from companion.speaking.numbers import digit_words, easily_misheard, number_words

__all__ = ["number_words", "to_ear", "to_eye"]

# Written unit: said of one, said of any other number.
_UNITS = {
    "Ω": ("ohm", "ohms"), "kΩ": ("kilohm", "kilohms"), "MΩ": ("megohm", "megohms"),
    "V": ("volt", "volts"), "mV": ("millivolt", "millivolts"),
    "A": ("amp", "amps"), "mA": ("milliamp", "milliamps"), "VA": ("volt amp", "volt amps"),
    "ft": ("foot", "feet"), "AWG": ("gauge", "gauge"), "%": ("percent", "percent"),
}  # fmt: skip

# Terminals and readings that are not said as they are spelled.
_SPELLED = {
    "OL": "O L, over limit", "O/B": "O B", "Rc": "R C", "Rh": "R H", "DH": "D H", "HUM": "hum",
}  # fmt: skip

_NUMBER = r"\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_TERMINAL = rf"(?:{'|'.join(_SPELLED)}|[A-Z]\d?)"
_SLOT = re.compile(r"\{(\w+)\}")
_PAIR = re.compile(rf"(?<![\w/])({_TERMINAL})[–-](?={_TERMINAL}(?!\w))")
_ONE_TERMINAL = re.compile(rf"(?<!\w)(?:({'|'.join(_SPELLED)})|([A-Z])(\d))(?!\w)")
_EITHER = re.compile(r"(?<=[A-Za-z])/(?=[A-Za-z])")
_MEASURED = re.compile(
    rf"(?<![\w.])(?P<sign>[-−]?)(?:(?P<low>{_NUMBER})–)?(?P<number>{_NUMBER})"
    rf"(?:(?P<joint>[ -]?)(?P<unit>{'|'.join(_UNITS)})(?!\w)|(?![\w.]*\w))"
)


def to_eye(prompt: Prompt) -> str:
    """The prompt as written: readings as ``0.5 Ω`` or ``OL``, terminals as on the board.

    Raises:
        DataFileError: the template names a slot that nothing fills.
    """

    def fill(slot: re.Match[str]) -> str:
        if slot[1] not in prompt.slots:
            raise DataFileError("dialogs", prompt.template, f"expected a value for {slot[0]}")
        return str(prompt.slots[slot[1]])

    return _SLOT.sub(fill, prompt.template)


def _said(match: re.Match[str]) -> str:
    low, number, unit = match["low"], float(match["number"]), match["unit"]
    words = number_words(number)
    if match["sign"]:
        words = f"minus {words}"
    if low:
        words = f"{number_words(float(low))} to {words}"
    if unit is None:
        return words
    # "a 3-A fuse" is a three amp fuse; "it reads 3 A" is three amps.
    name = _UNITS[unit][0 if match["joint"] == "-" or (number == 1 and not low) else 1]
    if not low and easily_misheard(number):
        return f"{words}, {digit_words(number)}, {name}"
    return f"{words} {name}"


def to_ear(prompt: Prompt) -> str:
    """The prompt in words that can't be taken for others.

    Numbers with their units in words, and digit by digit where fifteen might be
    fifty; ``R–C`` as "R to C", ``W1`` as "W one", ``OL`` as "O L, over limit".

    Raises:
        DataFileError: as ``to_eye``.
    """
    text = _PAIR.sub(r"\1 to ", to_eye(prompt))
    text = _ONE_TERMINAL.sub(
        lambda m: _SPELLED[m[1]] if m[1] else f"{m[2]} {number_words(int(m[3]))}", text
    )
    return _EITHER.sub(", ", _MEASURED.sub(_said, text))
