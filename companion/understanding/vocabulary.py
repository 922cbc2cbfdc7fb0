"""The words of dialogs/vocabulary.toml, checked, and turned into look-up tables."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import get_args

from pydantic import BaseModel, ConfigDict, Field, field_validator

from companion.datafiles import load
from companion.quantities import Quantity, quantity_of
from companion.understood import CommandName

# Commands that are sentences with a value or a terminal in them, not fixed phrases.
SENTENCES = {"correction", "revise", "should_read", "can_carry"}
Tokens = tuple[str, ...]
Phrases = tuple[str, ...]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class NumberWords(_Table):
    """The words that numbers are made of."""

    point: tuple[str, ...]
    hundred: str
    and_: str = Field(alias="and")
    article: tuple[str, ...]
    letters: tuple[str, ...]
    scales: dict[str, int]
    digits: dict[str, int]
    teens: dict[str, int]
    tens: dict[str, int]
    parts: dict[str, float]
    tenths: dict[str, float]


class Readings(_Table):
    """Said for a display that shows no digits, or all but zero ohms."""

    over_limit: tuple[str, ...]
    dead_short: tuple[str, ...]


class Pairs(_Table):
    """Words that tie a terminal to common, or a value to its terminal."""

    between: tuple[str, ...]
    on: tuple[str, ...]


class Clarification(_Table):
    """Something said where a number was wanted, and what to reply to it."""

    phrases: tuple[str, ...]
    reply: str


class Correction(_Table):
    """Words in front of a value that replaces the last one."""

    before: tuple[str, ...]


class Revision(_Table):
    """Words around the terminal of a reading that is to be replaced."""

    before: tuple[str, ...]
    between: tuple[str, ...]


class ShouldRead(_Table):
    """Words around the part whose healthy reading is asked for."""

    before: tuple[str, ...]
    this: tuple[str, ...]
    after: tuple[str, ...]


class CanCarry(_Table):
    """Words around the current that the transformer may or may not carry as well."""

    before: tuple[str, ...]
    more: tuple[str, ...]


class Choices(_Table):
    """Said for one of two that were offered."""

    first: tuple[str, ...]
    second: tuple[str, ...]


class Fillers(_Table):
    """Words in front that carry no meaning."""

    front: tuple[str, ...]


class Decoys(_Table):
    """Words that mean nothing here, so that noise and chatter have somewhere to go."""

    words: tuple[str, ...]


class Vocabulary(_Table):
    """Everything that can be said. Phrases are in canonical tokens (see ``tokens``)."""

    same_sound: dict[str, str]
    numbers: NumberWords
    units: dict[str, str]
    readings: Readings
    terminals: dict[str, tuple[str, ...]]
    pairs: Pairs
    answers: dict[str, tuple[str, ...]]
    clarify: dict[str, Clarification]
    commands: dict[str, tuple[str, ...]]
    skip_reasons: dict[str, tuple[str, ...]]
    correction: Correction
    revision: Revision
    should_read: ShouldRead
    can_carry: CanCarry
    choices: Choices
    fillers: Fillers
    decoys: Decoys

    @field_validator("units")
    @classmethod
    def _units_are_in_the_registry(cls, units: dict[str, str]) -> dict[str, str]:
        for spoken, unit in units.items():
            try:
                quantity_of(unit)
            except Exception as error:
                raise ValueError(f"{spoken!r}: {unit!r} is not a unit a meter shows") from error
        return units

    @field_validator("commands")
    @classmethod
    def _commands_are_known(cls, commands: dict[str, Phrases]) -> dict[str, Phrases]:
        wanted = set(get_args(CommandName)) - SENTENCES
        if set(commands) != wanted:
            raise ValueError(f"expected exactly the commands {sorted(wanted)}")
        return commands

    def tokens(self, text: str) -> Tokens:
        """Lower-cased words with those that sound alike made one."""
        words = text.lower().replace("-", " ").split()
        return tuple(self.same_sound.get(word, word) for word in words)

    @cached_property
    def unit_tokens(self) -> dict[Tokens, str]:
        """Spoken unit to unit of the registry."""
        return {self.tokens(spoken): unit for spoken, unit in self.units.items()}

    def units_of(self, quantity: Quantity) -> tuple[str, ...]:
        """The spoken units of one quantity."""
        return tuple(said for said, unit in self.units.items() if quantity_of(unit) == quantity)

    @cached_property
    def command_tokens(self) -> dict[Tokens, str]:
        """Phrase to name of command."""
        return {self.tokens(said): name for name, all_ in self.commands.items() for said in all_}

    def answers_to(self, names: tuple[str, ...], *, numeric: bool) -> dict[Tokens, str]:
        """Phrase to name for the answers a step takes, with clarifications if it wants a number."""
        table: dict[Tokens, str] = {}
        if numeric:
            table |= {self.tokens(p): n for n, c in self.clarify.items() for p in c.phrases}
        return table | {self.tokens(said): name for name in names for said in self.answers[name]}

    def longest_first(self, phrases: tuple[str, ...]) -> list[Tokens]:
        """Phrases as tokens, those with most words first."""
        return sorted(map(self.tokens, phrases), key=len, reverse=True)

    def all_words(self) -> frozenset[str]:
        """Every canonical word that a phrase list can hold."""
        numbers = self.numbers
        phrases: list[str] = [
            *numbers.point,
            numbers.hundred,
            *numbers.scales,
            numbers.and_,
            *numbers.article,
            *numbers.digits,
            *numbers.teens,
            *numbers.tens,
            *numbers.parts,
            *numbers.tenths,
            *self.units,
            *self.readings.over_limit,
            *self.readings.dead_short,
            *self.pairs.between,
            *self.pairs.on,
            *self.correction.before,
            *self.revision.before,
            *self.revision.between,
            *self.should_read.before,
            *self.should_read.this,
            *self.should_read.after,
            *self.can_carry.before,
            *self.can_carry.more,
            *self.choices.first,
            *self.choices.second,
            *self.fillers.front,
            *self.decoys.words,
        ]
        for table in (self.terminals, self.answers, self.commands, self.skip_reasons):
            phrases += [said for all_ in table.values() for said in all_]
        phrases += [said for entry in self.clarify.values() for said in entry.phrases]
        return frozenset(word for phrase in phrases for word in self.tokens(phrase))


def load_vocabulary(dialogs: Path) -> Vocabulary:
    """Read ``vocabulary.toml``.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    return load(dialogs / "vocabulary.toml", Vocabulary)
