"""Writes what the synthetic technicians say: readings, terminals, answers, commands, chatter.

An utterance is a list of tokens with pauses. A token in capitals is the name of a letter ("Y" is
said "wye"); every other token is an ordinary word. The mixture follows what an earlier model
misheard: "two", "nine", "fifty", "oh", "point", the terminal letters, numbers of every form, and
words drawn from everyday English that must be rejected.
"""

from __future__ import annotations

import random
import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path

PAUSE = ","
"""Token that stands for a short pause; it is no word of the transcript."""
STOP = "."
"""Token that stands for a sentence end: falling pitch and a longer pause; it is no word of the
transcript."""

_PHRASES = Path(__file__).with_name("phrases.toml")


@dataclass(frozen=True)
class Utterance:
    """One thing said: tokens in order, pauses among them."""

    tokens: tuple[str, ...]
    kind: str

    @property
    def words(self) -> list[str]:
        """The transcript: lower-case words, pauses left out."""
        return [token.lower() for token in self.tokens if token not in (PAUSE, STOP)]


def _split(text: str) -> list[str]:
    return [" ".join(item.split()) for item in text.split("|") if item.strip()]


class TextSource:
    """An endless, seeded source of utterances.

    `common` is everyday vocabulary, most frequent first; it feeds the out-of-vocabulary share.
    """

    def __init__(self, rng: random.Random, common: Sequence[str]) -> None:
        with _PHRASES.open("rb") as file:
            self._data = tomllib.load(file)
        self._rng = rng
        self._common = list(common)
        # Halfway between uniform and the true frequencies: rare words carry more kinds of sound
        # sequences.
        self._common_weights = list(accumulate((rank + 50) ** -0.5 for rank in range(len(common))))
        self._answers = _split(self._data["answers"])
        self._commands = _split(self._data["commands"])
        self._chatter = _split(self._data["chatter"])

    def _pick(self, key: str) -> str:
        value = self._data[key]
        choices: list[str] = value.split() if isinstance(value, str) else value
        return self._rng.choice(choices)

    def _letter(self, key: str = "terminals") -> str:
        return self._pick(key).upper()

    def _digit(self) -> str:
        word = self._pick("hard_digits" if self._rng.random() < 0.35 else "digits")
        return "O" if word == "o" else word

    def _below_hundred(self) -> str:
        roll = self._rng.random()
        if roll < 0.25:
            return self._pick("teens")
        if roll < 0.5:
            return self._pick("tens")
        if roll < 0.8:
            return f"{self._pick('tens')} {self._nonzero()}"
        return self._digit()

    def _nonzero(self) -> str:
        choices: list[str] = [*self._data["digits"].split()[2:], "two", "nine"]
        return self._rng.choice(choices)

    def _decimal(self) -> str:
        whole = self._rng.choice(
            ["", "zero", "zero", "oh", self._digit(), self._digit(), self._below_hundred()]
        )
        places = self._rng.choice([1, 1, 1, 2, 2, 3])
        return f"{whole} point {' '.join(self._digit() for _ in range(places))}"

    def _hundreds(self) -> str:
        rest = self._rng.choice(["", f" {self._below_hundred()}", f" and {self._below_hundred()}"])
        return f"{self._rng.choice([self._nonzero(), self._nonzero(), 'a'])} hundred{rest}"

    def _clipped_hundreds(self) -> str:
        """Hundreds as they are clipped in speech: "two forty", "one oh five", "one twenty
        three"."""
        tail = self._rng.choice(
            [
                self._pick("tens"),
                f"{self._pick('tens')} {self._nonzero()}",
                f"oh {self._nonzero()}",
                self._pick("teens"),
            ]
        )
        return f"{self._rng.choice([self._nonzero(), 'one', 'two'])} {tail}"

    def _thousands(self) -> str:
        return f"{self._below_hundred()} thousand{self._rng.choice(['', f' {self._hundreds()}'])}"

    def _fractions(self) -> str:
        half = self._rng.choice(["and a half", "and a quarter", "and a half", "and three quarters"])
        return self._rng.choice(
            [f"{self._below_hundred()} {half}", "a half", "half", f"{self._nonzero()} tenths"]
        )

    def number(self) -> str:
        """A spoken number in any of the forms people use at a meter."""
        forms: list[tuple[float, Callable[[], str]]] = [
            (0.30, self._decimal),
            (0.24, self._below_hundred),
            (0.15, self._clipped_hundreds),
            (0.08, self._hundreds),
            (
                0.16,
                lambda: " ".join(self._digit() for _ in range(self._rng.choice([1, 2, 2, 3, 4]))),
            ),
            (0.04, self._thousands),
            (0.06, self._fractions),
        ]
        text = self._rng.choices([form for _, form in forms], [weight for weight, _ in forms])[0]()
        return f"minus {text}" if self._rng.random() < 0.04 else text

    def _unit(self) -> str:
        unit = self._pick("units")
        if unit == "k":
            return "K"
        if self._rng.random() < 0.06:
            return f"{unit} {self._pick('modes').upper()}"
        return unit

    def terminal(self) -> str:
        """A terminal as it is said: "Y", "Y two", "C to W one", "bravo"."""
        roll = self._rng.random()
        if roll < 0.45:
            return self._letter()
        if roll < 0.68:
            return f"{self._rng.choice('YWRSYW')} {self._rng.choice(['one', 'two', 'two'])}"
        if roll < 0.82:
            return f"{self._letter()} {self._rng.choice(['to', 'and', ','])} {self._letter()}"
        return self._letter("letters") if roll < 0.9 else self._pick("phonetic")

    def _reading(self) -> str:
        parts = [self.terminal()] if self._rng.random() < 0.15 else []
        parts.append(self._rng.choices([self.number(), "O L", "zero"], [0.93, 0.04, 0.03])[0])
        if self._rng.random() < 0.75:
            parts.append(self._unit())
        return " ".join(parts)

    def _listing(self, item: Callable[[], str]) -> str:
        mark = self._rng.choice([f" {STOP} ", f" {STOP} ", f" {PAUSE} ", " "])
        return mark.join(item() for _ in range(self._rng.choice([1, 2, 3, 4, 5])))

    def _lone_word(self) -> str:
        numbers = [self._digit(), self._below_hundred(), "point", "hundred"]
        names = [self._letter(), self._letter("letters"), self._pick("phonetic"), self._unit()]
        phrases = [self._rng.choice(self._answers), self._rng.choice(self._commands)]
        return self._rng.choice([*numbers, *names, *phrases])

    def _contrast(self) -> str:
        words = [
            word.upper() if len(word) == 1 else word for word in self._pick("contrasts").split()
        ]
        self._rng.shuffle(words)
        return self._rng.choice([" ", f" {PAUSE} ", f" {STOP} "]).join(words)

    def _phrase(self) -> str:
        first = self._rng.choice(self._answers if self._rng.random() < 0.6 else self._commands)
        second = self._rng.choice(self._answers) if self._rng.random() < 0.2 else ""
        return re.sub(r"\bo l\b", "O L", f"{first} {PAUSE} {second}" if second else first)

    def _dressed(self, core: str) -> str:
        """Adds openers, closers and self-repairs around what counts."""
        roll = self._rng.random()
        if roll < 0.6:
            return f"{self._pick('openers')} {self._rng.choice(['', PAUSE])} {core}"
        if roll < 0.8:
            return f"{core} {self._rng.choice(['', PAUSE])} {self._pick('closers')}"
        return f"{self._reading()} {PAUSE} {self._pick('repairs')} {PAUSE} {core}"

    def _everyday(self) -> str:
        roll = self._rng.random()
        if roll < 0.15:
            return self._rng.choice(self._chatter)
        count = self._rng.choice([1, 1, 1, 2, 2, 3, 4, 5, 6])
        words = self._rng.choices(self._common, cum_weights=self._common_weights, k=count)
        joint = f" {STOP} " if count < 4 and roll < 0.5 else " "
        return joint.join("I" if word == "i" else word for word in words)

    def draw(self) -> Utterance:
        """The next utterance."""
        kinds: list[tuple[str, float, Callable[[], str]]] = [
            ("reading", 0.28, self._reading),
            ("terminal", 0.09, lambda: self._listing(self.terminal)),
            ("word", 0.12, lambda: self._listing(self._lone_word)),
            ("contrast", 0.10, self._contrast),
            ("phrase", 0.13, self._phrase),
            ("everyday", 0.35, self._everyday),
        ]
        kind, _, make = self._rng.choices(kinds, [weight for _, weight, _ in kinds])[0]
        text = make()
        if kind in ("reading", "phrase") and self._rng.random() < 0.18:
            text = self._dressed(text)
        if kind == "reading" and self._rng.random() < 0.08:
            words = text.split()
            words.insert(
                self._rng.randrange(len(words)), PAUSE
            )  # a breath in the middle of a number
            text = " ".join(words)
        return Utterance(tuple(text.split()), kind)
