"""A stretch of words to every reading or answer it can mean at this step."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal

from companion.expected import Expectation
from companion.quantities import factor_to_si, quantity_of
from companion.understanding.numbers import NOTHING, SpokenNumbers, Values
from companion.understanding.vocabulary import Tokens, Vocabulary
from companion.understood import Answer, Reading

_TYPED_NUMBER = re.compile(r"\d{1,8}(\.\d{1,6})?$|\.\d{1,6}$")


class ValueParser:
    """All meanings of tokens as a value, given what a step expects.

    Readings out of the step's range are among them: whether to take one is the
    caller's decision, as is what to do with more than one.
    """

    def __init__(self, vocabulary: Vocabulary) -> None:
        self._vocabulary = vocabulary
        self._numbers = SpokenNumbers(vocabulary.numbers)

    def meanings(self, tokens: Tokens, expected: Expectation, said: str) -> set[Reading | Answer]:
        """Every distinct reading or answer that the whole of ``tokens`` can mean."""
        found: set[Reading | Answer] = set()
        if expected.landed and (names := self._landed(tokens)):
            found.add(Answer(name="landed", terminals=names, said=said))
        for terminal, rest in self._with_terminal(tokens, expected):
            for value in self._bare(rest, expected, said):
                found.add(value.model_copy(update={"at": terminal}))
        return found

    def _landed(self, tokens: Tokens) -> tuple[str, ...]:
        """Terminals named one after the other, if the whole is that; longest names first."""
        words, found = self._vocabulary, list[str]()
        names = {
            words.tokens(said): terminal
            for terminal, all_ in words.terminals.items()
            for said in all_
        }
        joints = set(map(words.tokens, words.pairs.between[1:]))
        while tokens:
            fitting = [name for name in names if tokens[: len(name)] == name]
            if not fitting:
                if tokens[:1] in joints:
                    tokens = tokens[1:]
                    continue
                return ()
            longest = max(fitting, key=len)
            found.append(names[longest])
            tokens = tokens[len(longest) :]
        return tuple(dict.fromkeys(found))

    def _with_terminal(
        self, tokens: Tokens, expected: Expectation
    ) -> Iterator[tuple[str | None, Tokens]]:
        """The tokens as they are, and with each terminal that they can begin or end with."""
        yield None, tokens
        words = self._vocabulary
        common = words.longest_first(words.terminals["C"])
        for terminal, extra in expected.terminals.items():
            for name in words.longest_first(words.terminals.get(terminal, ()) + extra):
                fronts = [name]
                for between in map(words.tokens, words.pairs.between):
                    fronts += [name + between + c for c in common]
                    fronts += [c + between + name for c in common]
                for front in fronts:
                    rest = tokens[len(front) :]
                    if tokens[: len(front)] == front and rest and not self._is_digit(front, rest):
                        yield terminal, rest
                for on in map(words.tokens, words.pairs.on):
                    back = on + name
                    if tokens[-len(back) :] == back and len(tokens) > len(back):
                        yield terminal, tokens[: -len(back)]

    def _is_digit(self, front: Tokens, rest: Tokens) -> bool:
        """O, the terminal, and oh, the digit, are one sound; before a point it is the digit."""
        numbers = self._vocabulary.numbers
        return front[-1] in numbers.digits and len(front) == 1 and rest[0] in numbers.point

    def _bare(self, tokens: Tokens, expected: Expectation, said: str) -> list[Reading | Answer]:
        words = self._vocabulary
        numeric = expected.quantity is not None
        name = words.answers_to(expected.answers, numeric=numeric).get(tokens)
        if name is not None:
            return [Answer(name=name, said=said)]
        if expected.quantity is None:
            return []
        if expected.over_limit and tokens in map(words.tokens, words.readings.over_limit):
            return [Reading(quantity=expected.quantity, over_limit=True, said=said)]
        if expected.quantity == "resistance" and tokens in map(
            words.tokens, words.readings.dead_short
        ):
            return [Reading(quantity="resistance", value_si=0.0, said=said)]
        return list(self._readings(tokens, expected, said))

    def _readings(self, tokens: Tokens, expected: Expectation, said: str) -> Iterator[Reading]:
        quantity = expected.quantity
        assert quantity is not None
        for unit, number in self._with_unit(tokens):
            measured = quantity if unit is None else quantity_of(unit)
            if number and set(number) <= set(self._vocabulary.numbers.letters):
                # "O" may be a zero, or an "O L" cut short: all but a dead short.
                if expected.over_limit:
                    yield Reading(quantity=measured, value_si=0.0, said=said)
                    yield Reading(quantity=measured, over_limit=True, said=said)
                continue
            factor = Decimal(1) if unit is None else Decimal(repr(factor_to_si(unit)))
            spelled = self._numbers.digit_by_digit(number) if expected.digits else NOTHING
            for value in spelled or self._number(number, followed_by_unit=unit is not None):
                yield Reading(quantity=measured, value_si=float(value * factor), said=said)

    def _with_unit(self, tokens: Tokens) -> Iterator[tuple[str | None, Tokens]]:
        yield None, tokens
        for spoken, unit in self._vocabulary.unit_tokens.items():
            if tokens[-len(spoken) :] == spoken:
                yield unit, tokens[: -len(spoken)]

    def _number(self, tokens: Tokens, *, followed_by_unit: bool) -> Values:
        if len(tokens) == 1 and _TYPED_NUMBER.match(tokens[0]):
            return frozenset({Decimal(tokens[0])})
        values = self._numbers.parse(tokens)
        articles = self._vocabulary.numbers.article
        if not values and followed_by_unit and tokens and tokens[-1] in articles:
            return self._numbers.parse(tokens[:-1])  # "half an ohm"
        return values or NOTHING
