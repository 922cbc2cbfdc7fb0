"""One utterance, at one step, to one meaning; or to NotUnderstood, never to a guess."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from companion.expected import Expectation
from companion.quantities import METER_SPAN_SI, Quantity
from companion.understanding.asides import Asides
from companion.understanding.values import ValueParser
from companion.understanding.vocabulary import Tokens, Vocabulary
from companion.understood import (
    Answer,
    Command,
    CommandName,
    NotUnderstood,
    NotUnderstoodReason,
    Reading,
    Understood,
    Utterance,
)

UNKNOWN_WORD = "[unk]"
NO_FLOOR: Mapping[str, float] = {"usual": 0.0, "safety": 0.0}


class Interpreter:
    """Strict parser of utterances.

    Args:
        vocabulary: the words of dialogs/vocabulary.toml.
        floor: least word confidence that is trusted, for ``usual`` steps and for
            ``safety`` steps; it belongs to the speech model.
    """

    def __init__(self, vocabulary: Vocabulary, floor: Mapping[str, float] = NO_FLOOR) -> None:
        self._vocabulary = vocabulary
        self._floor = floor
        self._values = ValueParser(vocabulary)
        self._asides = Asides(vocabulary, self._values)
        self._known = vocabulary.all_words()

    def interpret(self, utterance: Utterance, expected: Expectation) -> Understood:
        """What was meant. "Stop" anywhere in the utterance is heard, however unsure."""
        said = utterance.text
        tokens = self._vocabulary.tokens(said)
        if "stop" in tokens:
            return Command(name="stop", said=said)
        if not tokens:
            return NotUnderstood(heard=said, reason="nothing_heard")
        if expected.dictation:
            return Command(name="note", said=said, clip=utterance.clip)
        if UNKNOWN_WORD in tokens:
            return NotUnderstood(heard=said, reason="unknown_words")
        sureness = utterance.least_confidence
        if sureness is not None and sureness < self._floor[expected.sure]:
            meaning = self._meaning(tokens, expected, said)
            maybe = (meaning,) if isinstance(meaning, Reading) else ()
            return NotUnderstood(heard=said, reason="unsure", candidates=maybe)
        return self._meaning(tokens, expected, said)

    def settled(self, text: str, expected: Expectation) -> bool:
        """Whether words mean something that no further word is likely to change.

        A number is open until its unit is said; "no" may go on to a correction, and a list of
        terminals to the next.
        """
        meaning = self.interpret(Utterance(text=text, source="typed"), expected)
        match meaning:
            case Answer(name=name):
                return name not in {"no", "landed"} and not self._goes_on(text, expected)
            case Reading(over_limit=True):
                return True
            case Reading():
                tokens = self._vocabulary.tokens(text)
                units = self._vocabulary.unit_tokens
                return any(tokens[-len(unit) :] == unit for unit in units)
            case Command(name=name):
                return name == "stop"
        return False

    def _goes_on(self, text: str, expected: Expectation) -> bool:
        """Whether a longer answer begins with these words: "power off and locked out"."""
        tokens = self._vocabulary.tokens(text)
        longer = self._vocabulary.answers_to(
            expected.answers, numeric=expected.quantity is not None
        )
        return any(said != tokens and said[: len(tokens)] == tokens for said in longer)

    def _meaning(self, tokens: Tokens, expected: Expectation, said: str) -> Understood:
        words = self._vocabulary
        meanings = self._values.meanings(tokens, expected, said)
        if not meanings and (chosen := self._chosen(tokens, expected)) is not None:
            return chosen.model_copy(update={"said": said})
        if not meanings and tokens in words.command_tokens:
            return self._allowed(
                Command(name=cast(CommandName, words.command_tokens[tokens]), said=said), expected
            )
        if not meanings:
            aside = self._asides.command(tokens, expected, said)
            if aside is not None:
                return self._allowed(aside, expected)
            for before in words.longest_first(words.correction.before):
                if tokens[: len(before)] == before:
                    return self._correction(tokens[len(before) :], expected, said)
            for filler in words.longest_first(words.fillers.front):
                if tokens[: len(filler)] == filler and len(tokens) > len(filler):
                    return self._meaning(tokens[len(filler) :], expected, said)
        return self._single(meanings, tokens, expected, said)

    def _chosen(self, tokens: Tokens, expected: Expectation) -> Reading | Answer | None:
        """The one of two that were offered, by its place. A safety step takes only the number."""
        said, choices = self._vocabulary.choices, expected.choices
        if len(choices) == 2 and expected.sure != "safety":
            for choice, phrases in zip(choices, (said.first, said.second), strict=True):
                if tokens in map(self._vocabulary.tokens, phrases):
                    return choice
        return None

    def _allowed(self, command: Command, expected: Expectation) -> Command | NotUnderstood:
        if expected.only and command.name not in expected.only:
            return NotUnderstood(heard=command.said, reason="not_asked_here")
        return command

    def _correction(self, tokens: Tokens, expected: Expectation, said: str) -> Understood:
        if not tokens:
            return Command(name="correction", said=said)
        about = expected.corrects or expected
        value = self._single(self._values.meanings(tokens, about, said), tokens, about, said)
        match value:
            case Reading():
                return Command(name="correction", reading=value, said=said)
            case Answer():
                return Command(name="correction", answer=value, said=said)
        return value

    def _single(
        self, meanings: set[Reading | Answer], tokens: Tokens, expected: Expectation, said: str
    ) -> Understood:
        """The one meaning, or why there is not exactly one that this step can take."""

        def refuse(reason: NotUnderstoodReason, of: set[Reading | Answer]) -> NotUnderstood:
            ordered = sorted(of, key=lambda m: m.model_dump_json())
            return NotUnderstood(heard=said, reason=reason, candidates=tuple(ordered))

        if not meanings:
            return refuse(self._why_none(tokens, expected), set())
        wanted = {m for m in meanings if isinstance(m, Answer) or m.quantity == expected.quantity}
        if not wanted:
            return refuse("wrong_unit", meanings)
        offered = {choice.model_copy(update={"said": said}) for choice in expected.choices}
        if len(wanted & offered) == 1:
            wanted &= offered
        if len(wanted) > 1:
            return refuse("ambiguous", wanted)
        (only,) = wanted
        if isinstance(only, Reading) and not _in_range(only, expected):
            return refuse("out_of_range", wanted)
        return only

    def _why_none(self, tokens: Tokens, expected: Expectation) -> NotUnderstoodReason:
        if not self._known.issuperset(tokens):
            return "unknown_words"
        anything = expected.model_copy(
            update={"quantity": None, "answers": tuple(self._vocabulary.answers)}
        )
        if self._values.meanings(tokens, anything, ""):
            return "not_asked_here"
        quantities: tuple[Quantity, ...] = ("resistance", "voltage", "current")
        for quantity in quantities:
            elsewhere = anything.model_copy(update={"quantity": quantity, "over_limit": True})
            if self._values.meanings(tokens, elsewhere, ""):
                return "not_asked_here"
        return "no_meaning"


def _in_range(reading: Reading, expected: Expectation) -> bool:
    if reading.value_si is None:
        return True
    least, most = METER_SPAN_SI[reading.quantity]
    return max(least, expected.least_si) <= reading.value_si <= min(most, expected.most_si)
