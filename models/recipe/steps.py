"""Phrase lists like those of the companion's steps, for measuring the model.

Words that sound alike stand for one another, as in the companion: "o" for "oh", "two" for "to",
"y" for "why". The recogniser weighs a phrase by how often it is listed, so the unknown word is
listed once for each fifty phrases.
"""

from __future__ import annotations

from models.recipe.lexicon import UNKNOWN


def _words(text: str) -> list[str]:
    return text.split()


def _phrases(text: str) -> list[str]:
    return [" ".join(phrase.split()) for phrase in text.split("|")]


DIGITS = _words("zero one two three four five six seven eight nine")
TEENS = _words("ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
TENS = _words("twenty thirty forty fifty sixty seventy eighty ninety")
UNITS = _words("ohm ohms volt volts amp amps milliamps kilohms megohms feet degrees")
TERMINALS = list("rcywgobl")
LETTERS = list("abcdefghijklmnopqrstuvwxyz")
COMMANDS = _words("stop repeat back correction skip y status note help resume continue yes no")
FILLERS = _phrases("uh | um | okay | it's | it is | reads | it reads")
DECOYS = _words(
    "hello people number because somebody ladder morning hammer please thanks this that"
)
ANSWERS = _phrases(
    """site clear | all clear | gas | gas smell | smoke | burning | water | power off | power is off
    | locked out | meter proven | thermostat off | base off | base lifted | breaker | lamp | just
    the meter | meter only | trips | tripped | it tripped | holds | it holds | held | bright | dim |
    dark | lit | beep | no beep | nothing | runs | running | repaired | replaced | covers on |
    covers off | fuse blown | fuse good | disconnected | connected | lifted |
    capacitor discharged | open | closed | short | furnace | heat pump | air handler"""
)
OVER_LIMIT = _phrases("o l | over limit | open line | dead short | no reading | beep | no beep")


def with_unknown(phrases: list[str]) -> list[str]:
    """The phrases and the unknown word in proportion."""
    return [*phrases, *([UNKNOWN] * max(1, len(phrases) // 50))]


def single_words(letters: list[str]) -> list[str]:
    """Single words with no order among them: the hardest list, for comparing with earlier figures.

    Unlike the others it holds the unknown word just once.
    """
    answers = _words("open closed short tripped holds bright dim dark locked out all clear site")
    numbers = ["o", *DIGITS, *TEENS, *TENS, "hundred", "thousand", "point", "minus", "half"]
    words = [*numbers, *UNITS, *letters, *COMMANDS, *answers, "good", "bad", "lamp", "meter"]
    return [*dict.fromkeys(words), UNKNOWN]


def numbers() -> list[str]:
    """Numbers as people say them at a meter, enough to show which word may follow which."""
    low, dot = ["o", *DIGITS], "point"
    found = [*DIGITS, *TEENS, *TENS, *(f"{ten} {digit}" for ten in TENS for digit in DIGITS[1:])]
    found += [f"{whole} {dot} {digit}" for whole in ["", *low] for digit in low]
    found += [f"{dot} {first} {second}" for first in low for second in DIGITS]
    found += [f"{whole} {dot} {digit}" for whole in [*TEENS, *TENS] for digit in DIGITS]
    found += [f"{digit} {rest}" for digit in DIGITS[1:] for rest in [*TEENS, *TENS]]
    found += [f"{digit} o {other}" for digit in DIGITS[1:] for other in DIGITS[1:]]
    found += [f"{digit} hundred" for digit in DIGITS[1:]]
    found += ["hundred and", "a hundred", "thousand", "minus", "and a half", "three quarters"]
    return [number.strip() for number in found]


def reading() -> list[str]:
    """Numbers with their units, terminals, commands, decoys: a step that wants a reading."""
    united = [f"{number} {unit}".strip() for number in numbers() for unit in ("", "ohms", "volts")]
    last = [*DIGITS, *TENS, "hundred", "thousand", "half"]
    tails = [f"{word} {unit}" for word in last for unit in UNITS]
    firsts = ("one", "two", "zero", "twenty")
    prefixed = [f"{letter} {first}" for letter in TERMINALS for first in firsts]
    own = [*united, *tails, *UNITS, *prefixed, *TERMINALS, *OVER_LIMIT]
    return with_unknown([*own, *COMMANDS, *FILLERS, *DECOYS])


def terminal() -> list[str]:
    """Terminals by letter and number."""
    pairs = [f"{letter} {digit}" for letter in "ywsr" for digit in ("one", "two")]
    joined = [f"{letter} two {other}" for letter in TERMINALS for other in "rc"]
    return with_unknown([*LETTERS, *pairs, *joined, "d h", *COMMANDS, *DECOYS])


def answer() -> list[str]:
    """Answers of the safety and test steps."""
    return with_unknown([*ANSWERS, *COMMANDS, *FILLERS, *DECOYS])
