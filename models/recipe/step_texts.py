"""A second mixture of training texts, aimed at what the first model missed.

The first mixture talks in sentences. At a meter people say one word, or one word and its number,
and stumble; and what must be turned away is short as well. Phrases come from the companion's own
vocabulary, so that what may be heard is what is trained.
"""

from __future__ import annotations

import random
import tomllib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from models.recipe.texts import PAUSE, STOP, TextSource, Utterance

_VOCABULARY = Path(__file__).parents[2] / "dialogs" / "vocabulary.toml"
_SECTIONS = (
    *("answers", "readings", "clarify", "commands", "skip_reasons", "correction"),
    *("revision", "should_read", "can_carry", "terminals"),
)


def _strings(node: Any) -> Iterator[str]:
    if isinstance(node, str):
        yield node
    elif isinstance(node, dict):
        for key, value in node.items():
            if key != "reply":
                yield from _strings(value)
    elif isinstance(node, list):
        for value in node:
            yield from _strings(value)


def spoken_phrases() -> list[str]:
    """Every phrase of the companion's vocabulary; letters that are said by name in capitals."""
    with _VOCABULARY.open("rb") as file:
        data = tomllib.load(file)
    found = dict.fromkeys(text for section in _SECTIONS for text in _strings(data[section]))
    return [
        " ".join(w.upper() if len(w) == 1 and w not in "ai" else w for w in phrase.split())
        for phrase in found
    ]


class StepTexts(TextSource):
    """Short utterances: the companion's phrases, lone words, stumbles, and short strangers."""

    def __init__(self, rng: random.Random, common: Sequence[str]) -> None:
        super().__init__(rng, common)
        self._steps = spoken_phrases()

    def _step(self) -> str:
        roll = self._rng.random()
        first = self._rng.choice(self._steps)
        if roll < 0.55:
            return first
        if roll < 0.75:
            return f"{self._pick('openers')} {self._rng.choice(['', PAUSE])} {first}"
        return f"{first} {STOP} {self._rng.choice(self._steps)}"

    def _lone(self) -> str:
        pick: Callable[[], str] = self._rng.choice(
            [
                lambda: self._letter("letters"),
                lambda: self._letter(),
                self._digit,
                self._below_hundred,
                lambda: self._pick("phonetic"),
                self._unit,
                lambda: "point",
            ]
        )
        mark = self._rng.choice([f" {STOP} ", f" {STOP} ", f" {PAUSE} "])
        return mark.join(pick() for _ in range(self._rng.choice([1, 1, 2, 3])))

    def _stumble(self) -> str:
        """A reading begun, hesitated over, and begun again or gone on with."""
        whole = self._reading().split()
        cut = self._rng.randrange(1, len(whole) + 1)
        hesitation = self._rng.choice([PAUSE, f"{PAUSE} uh {PAUSE}", f"{PAUSE} um", "uh", ""])
        again = whole if self._rng.random() < 0.4 else whole[cut:]
        return " ".join([*whole[:cut], hesitation, *again])

    def _stranger(self) -> str:
        count = self._rng.choice([1, 1, 1, 1, 2, 2, 3])
        words = self._rng.choices(self._common, cum_weights=self._common_weights, k=count)
        joint = self._rng.choice([" ", f" {STOP} "])
        return joint.join("I" if word == "i" else word for word in words)

    def draw(self) -> Utterance:
        """The next utterance."""
        kinds: list[tuple[str, float, Callable[[], str]]] = [
            ("phrase", 0.25, self._step),
            ("word", 0.25, self._lone),
            ("reading", 0.14, self._reading),
            ("reading", 0.08, self._stumble),
            ("terminal", 0.06, self.terminal),
            ("everyday", 0.22, self._stranger),
        ]
        kind, _, make = self._rng.choices(kinds, [weight for _, weight, _ in kinds])[0]
        return Utterance(tuple(make().split()), kind)
