"""What is said beside the step's question and is more than one fixed phrase.

Skipping with a reason, revising an earlier reading by its terminal, asking what a part should
read, asking what the transformer can carry.
"""

from __future__ import annotations

from collections.abc import Iterator

from companion.expected import Expectation
from companion.understanding.values import ValueParser
from companion.understanding.vocabulary import Tokens, Vocabulary
from companion.understood import Command, Reading


class Asides:
    """Parser of those sentences. Each is taken as a whole or not at all."""

    def __init__(self, vocabulary: Vocabulary, values: ValueParser) -> None:
        self._vocabulary = vocabulary
        self._values = values

    def command(self, tokens: Tokens, expected: Expectation, said: str) -> Command | None:
        """The one command that the tokens mean, if they mean just one."""
        found = {c.model_dump_json(): c for c in self._all(tokens, expected, said)}
        return next(iter(found.values())) if len(found) == 1 else None

    def _all(self, tokens: Tokens, expected: Expectation, said: str) -> Iterator[Command]:
        words = self._vocabulary
        for reason, rest in self._after(tokens, {"skip": words.commands["skip"]}, or_bare=True):
            del reason
            for name, phrases in words.skip_reasons.items():
                if rest in map(words.tokens, phrases):
                    yield Command(name="skip", reason=name, said=said)
        yield from self._revision(tokens, expected, said)
        for _, rest in self._after(tokens, {"": words.should_read.before}):
            yield from self._should_read(rest, expected, said)
        for _, rest in self._after(tokens, {"": words.can_carry.before}):
            yield from self._can_carry(rest, said)

    def _after(
        self, tokens: Tokens, starts: dict[str, tuple[str, ...]], *, or_bare: bool = False
    ) -> Iterator[tuple[str, Tokens]]:
        if or_bare:
            yield "", tokens
        for name, phrases in starts.items():
            for start in self._vocabulary.longest_first(phrases):
                if tokens[: len(start)] == start and len(tokens) > len(start):
                    yield name, tokens[len(start) :]

    def _names(self, expected: Expectation) -> dict[str, tuple[str, ...]]:
        words = self._vocabulary
        known = dict.fromkeys((*expected.terminals, *expected.read))
        return {t: words.terminals.get(t, ()) + expected.terminals.get(t, ()) for t in known}

    def _revision(self, tokens: Tokens, expected: Expectation, said: str) -> Iterator[Command]:
        words = self._vocabulary
        for _, rest in self._after(tokens, {"": words.revision.before}):
            for terminal, after_name in self._after(rest, self._names(expected)):
                quantity = expected.read.get(terminal)
                if quantity is None:
                    continue
                asked = Expectation(step=expected.step, quantity=quantity, over_limit=True)
                for _, value in self._after(after_name, {"": words.revision.between}):
                    for meant in self._values.meanings(value, asked, said):
                        if isinstance(meant, Reading) and meant.quantity == quantity:
                            yield Command(name="revise", at=terminal, reading=meant, said=said)

    def _should_read(self, rest: Tokens, expected: Expectation, said: str) -> Iterator[Command]:
        words = self._vocabulary
        names = {"": words.should_read.this, **self._names(expected)}
        for terminal, after in self._after(rest, names):
            if after in map(words.tokens, words.should_read.after):
                yield Command(name="should_read", at=terminal or None, said=said)

    def _can_carry(self, rest: Tokens, said: str) -> Iterator[Command]:
        more = {token for phrase in self._vocabulary.can_carry.more
                for token in self._vocabulary.tokens(phrase)}  # fmt: skip
        amount = tuple(token for token in rest if token not in more)
        asked = Expectation(step="", quantity="current")
        for meant in self._values.meanings(amount, asked, said):
            if isinstance(meant, Reading) and meant.quantity == "current":
                yield Command(name="can_carry", reading=meant, said=said)
