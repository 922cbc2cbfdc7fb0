"""What was heard, and what it was understood as: the messages that a turn begins with."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from companion.quantities import Quantity, display


class Record(BaseModel):
    """Frozen, closed to unknown fields, and to numbers that JSON has no word for."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class HeardWord(Record):
    """One word of an utterance; times in seconds from the start of the source."""

    text: str
    confidence: float | None = Field(default=None, ge=0.0, le=1.0)
    start_s: float | None = None
    end_s: float | None = None


class Utterance(Record):
    """What the ears made of one stretch of speech (or one typed line)."""

    kind: Literal["utterance"] = "utterance"
    text: str
    source: Literal["microphone", "wav", "typed"]
    words: tuple[HeardWord, ...] = ()
    clip: str | None = None

    @property
    def least_confidence(self) -> float | None:
        """Confidence of the least sure word; None where the source has no doubt to report."""
        known = [w.confidence for w in self.words if w.confidence is not None]
        return min(known) if known else None


class Reading(Record):
    """A number off a meter, a label or a fuse, in SI; or over limit (OL)."""

    kind: Literal["reading"] = "reading"
    quantity: Quantity
    value_si: float | None = None
    over_limit: bool = False
    at: str | None = None
    said: str = ""

    @model_validator(mode="after")
    def _one_or_the_other(self) -> Reading:
        if (self.value_si is None) != self.over_limit:
            raise ValueError("a reading has a value or is over limit, one of the two")
        return self

    def same_value(self, other: Record | None) -> bool:
        """Whether the other says the same thing off the meter, wherever it was said to be."""
        return isinstance(other, Reading) and (self.quantity, self.value_si, self.over_limit) == (
            other.quantity,
            other.value_si,
            other.over_limit,
        )

    def __str__(self) -> str:
        return "OL" if self.value_si is None else display(self.value_si, self.quantity)


class Answer(Record):
    """A word with one meaning at this step: tripped, bright, locked out, ..."""

    kind: Literal["answer"] = "answer"
    name: str
    at: str | None = None
    terminals: tuple[str, ...] = ()
    said: str = ""

    def __str__(self) -> str:
        return " ".join(self.terminals) or self.name.replace("_", " ")


CommandName = Literal[
    "stop", "resume", "repeat", "back", "correction", "skip", "why", "status", "note", "options",
    "more", "how_sure", "left", "summary", "slower", "faster", "louder", "softer", "brief",
    "explain", "mark", "wait", "work", "hand_over", "method", "else", "revise",
    "how_far", "should_read", "can_carry",
]  # fmt: skip


class Command(Record):
    """Something said to the companion rather than about the circuit.

    ``at`` is the terminal that a revision or a question names; ``reason`` why a step is skipped.
    """

    kind: Literal["command"] = "command"
    name: CommandName
    reading: Reading | None = None
    answer: Answer | None = None
    at: str | None = None
    reason: str | None = None
    clip: str | None = None
    said: str = ""


NotUnderstoodReason = Literal[
    "nothing_heard",
    "unknown_words",
    "unsure",
    "ambiguous",
    "out_of_range",
    "wrong_unit",
    "not_asked_here",
    "no_meaning",
]


class NotUnderstood(Record):
    """Speech that is not taken for anything. Candidates are what it might have been."""

    kind: Literal["not_understood"] = "not_understood"
    heard: str
    reason: NotUnderstoodReason
    candidates: tuple[Reading | Answer, ...] = ()


Understood = Reading | Answer | Command | NotUnderstood
