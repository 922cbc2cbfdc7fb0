"""What was said, in order, with the sound of it and what was made of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from companion.messages import (
    Blocked,
    CallResumed,
    Consent,
    Entry,
    Finding,
    Note,
    Spoken,
    Trouble,
    Withdrawn,
    WordCorrected,
)
from companion.review.facts import Facts, clock
from companion.understood import Answer, Command, HeardWord, NotUnderstood, Reading, Utterance

Who = Literal["technician", "companion", "record"]


@dataclass(frozen=True)
class Turn:
    """One thing said or done, with lines on what followed."""

    seq: int
    clock: str
    who: Who
    text: str
    clip: str | None = None
    confidence: float | None = None
    words: tuple[HeardWord, ...] = ()
    corrected: tuple[WordCorrected, ...] = ()
    lines: tuple[str, ...] = ()

    @property
    def doubtful(self) -> bool:
        """Whether a word was heard with little confidence."""
        return self.confidence is not None and self.confidence < 0.8


def turns(entries: Sequence[Entry], facts: Facts) -> list[Turn]:
    """The transcript."""
    told: list[Turn] = []
    for entry in entries:
        turn = _turn(entry, facts)
        if turn is not None:
            told.append(turn)
            continue
        lines = tuple(_lines(entry))
        if lines and told:
            told[-1] = replace(told[-1], lines=(*told[-1].lines, *lines))
    return told


def _turn(entry: Entry, facts: Facts) -> Turn | None:
    at, message = clock(entry), entry.message
    match message:
        case Utterance():
            return Turn(
                entry.seq, at, "technician", message.text, message.clip, message.least_confidence,
                facts.words[entry.seq], tuple(facts.corrected.get(entry.seq, ())),
            )  # fmt: skip
        case Spoken():
            return Turn(entry.seq, at, "companion", message.text, message.clip)
        case CallResumed():
            lost = f" {message.dropped_bytes} bytes were torn off." if message.dropped_bytes else ""
            return Turn(entry.seq, at, "record", f"Call resumed; power to be proven again.{lost}")
        case Trouble():
            return Turn(entry.seq, at, "record", message.told)
        case Consent():
            may = "may" if message.given else "may not"
            what = message.covers.replace("_", " ")
            return Turn(entry.seq, at, "record", f"Sound of {what} {may} be kept: “{message.said}”")
    return None


def _lines(entry: Entry) -> Iterator[str]:
    match entry.message:
        case NotUnderstood(reason=reason, candidates=candidates):
            maybe = f" ({' or '.join(str(value) for value in candidates)}?)" if candidates else ""
            yield f"not taken: {reason.replace('_', ' ')}{maybe}"
        case Reading() | Answer():
            yield f"understood: {entry.message}"
        case Command(name=name, reading=reading, answer=answer):
            value = reading or answer
            yield f"command: {name}" + (f", {value}" if value else "")
        case Finding(verdict=verdict, about=about):
            yield f"verdict: {about + ': ' if about else ''}{verdict.replace('_', ' ')}"
        case Withdrawn(value=value, step=step):
            yield f"taken back: {value} at {step.replace('_', ' ')}"
        case Blocked(interlock=interlock, step=step):
            yield f"interlock {interlock}: {step.replace('_', ' ')} kept shut"
        case Note(text=text):
            yield f"note: {text}"
