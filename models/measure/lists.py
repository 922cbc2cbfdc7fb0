"""Phrase lists to measure with: those of a call's steps, and bare words.

A step's list is made from dialogs/ just as in a call. The bare-word lists have no order among their
words; they are the hardest, and comparable with other recognisers and earlier figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from companion.expected import Expectation
from companion.understanding import Interpreter, Vocabulary, load_vocabulary, phrases_for
from companion.understood import Answer, Command, Reading, Understood, Utterance

DIALOGS = Path(__file__).parents[2] / "dialogs"
UNKNOWN = "[unk]"


@dataclass(frozen=True)
class Step:
    """What can be said at a step, and what it means there."""

    name: str
    vocabulary: Vocabulary
    expected: Expectation | None = None
    """None for bare words, which mean themselves."""
    bare: tuple[str, ...] = ()

    @cached_property
    def phrases(self) -> list[str]:
        """The list given to the recogniser."""
        return phrases_for(self.expected, self.vocabulary) if self.expected else list(self.bare)

    @cached_property
    def words(self) -> frozenset[str]:
        """Every word of the list."""
        return frozenset(" ".join(self.phrases).split())

    def tokens(self, text: str) -> tuple[str, ...]:
        """Words with one token a sound: "oh" and the letter O are told apart by their place."""
        return tuple(self.vocabulary.tokens(text))

    def meaning(self, text: str) -> Understood | None:
        """What the companion makes of these words, None for bare words."""
        if self.expected is None:
            return None
        understood = Interpreter(self.vocabulary).interpret(
            Utterance(text=text, source="typed"), self.expected
        )
        return understood.model_copy(update={"said": ""}) if taken(understood) else understood

    def same(self, said: str, heard: str) -> bool:
        """Whether what was heard means what was said; bare words must be the same ones."""
        if self.expected is not None:
            return self.meaning(said) == self.meaning(heard)
        known = tuple(word for word in self.tokens(heard) if word != UNKNOWN)
        return known == self.tokens(said)

    def can_take(self, words: tuple[str, ...]) -> bool:
        """Whether these words are on the list, and mean something here."""
        tokens = self.tokens(" ".join(words))
        return self.words.issuperset(tokens) and (
            self.expected is None or taken(self.meaning(" ".join(words)))
        )


def taken(understood: Understood | None) -> bool:
    """Whether something follows from it: a reading, an answer or a command."""
    return isinstance(understood, Reading | Answer | Command)


def steps(dialogs: Path = DIALOGS) -> dict[str, Step]:
    """The steps and lists that are measured."""
    vocabulary = load_vocabulary(dialogs)
    everywhere: dict[str, tuple[str, ...]] = dict.fromkeys(vocabulary.terminals, ())
    ohms = Expectation(
        step="ohms", quantity="resistance", most_si=1e7, over_limit=True, terminals=everywhere
    )
    volts = Expectation(step="volts", quantity="voltage", most_si=600.0)
    answers = Expectation(step="answers", answers=tuple(vocabulary.answers))
    safety = Expectation(
        step="safety", answers=("site_clear", "gas", "smoke", "water"), sure="safety"
    )
    landed = Expectation(step="terminals", landed=True)
    found = {
        asked.step: Step(asked.step, vocabulary, asked)
        for asked in (ohms, volts, answers, safety, landed)
    }
    for count, letters in (("8 letters", "rcywgobl"), ("26 letters", "abcdefghijklmnopqrstuvwxyz")):
        found[count] = Step(count, vocabulary, bare=_bare_words(vocabulary, letters))
    return found


def _bare_words(vocabulary: Vocabulary, letters: str) -> tuple[str, ...]:
    numbers = vocabulary.numbers
    words = [*numbers.digits, *numbers.teens, *numbers.tens, numbers.hundred, *numbers.scales]
    words += ["point", "minus", "half", *_UNITS, *letters, *_COMMANDS, *_ANSWERS]
    return tuple(dict.fromkeys(words))


_UNITS = "ohm ohms volt volts amp amps milliamps kilohms megohms feet degrees".split()  # noqa: SIM905
_COMMANDS = "stop repeat back correction skip y status note help resume continue yes no".split()  # noqa: SIM905
_ANSWERS = (
    *("open", "closed", "short", "tripped", "holds", "bright", "dim", "dark", "locked", "out"),
    *("all", "clear", "site", "good", "bad", "lamp", "meter"),
)
