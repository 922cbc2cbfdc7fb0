"""A call as plain text: what was found first, then every turn as it happened."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from companion.messages import (
    Blocked,
    CallOpened,
    CallResumed,
    Concluded,
    Entry,
    Finding,
    Note,
    Spoken,
    StepEntered,
    Taken,
    Withdrawn,
)
from companion.understood import Answer, NotUnderstood, Reading, Utterance

_ENDED = {
    "repaired": "Repaired",
    "found": "Found, not repaired",
    "not_found": "No short found",
    "unsafe": "Broken off: unsafe",
    "handed_over": "Handed over",
}
_READ_BACK = {
    "confirmed": "read back and confirmed",
    "said_twice": "said twice",
    "said_back": "read back, not contradicted",
}


def plain_record(entries: Sequence[Entry], seal: str = "") -> str:
    """The whole record as text, lines of the record's own words only; ``seal`` of its last line."""
    sealed = [f"Seal of the record at line {len(entries)}: {seal}"] if seal else []
    said = ["", "WHAT WAS SAID", *_transcript(entries), "", *sealed, ""]
    return "\n".join([*_summary(entries), *said])


def _summary(entries: Sequence[Entry]) -> Iterator[str]:
    messages = [entry.message for entry in entries]
    opened = next((m for m in messages if isinstance(m, CallOpened)), None)
    ended = next((m for m in messages if isinstance(m, Concluded)), None)
    yield "RECORD OF A CALL"
    if opened is not None:
        yield f"Call       {opened.call_id}"
        yield f"Begun      {entries[0].wall}"
        yield f"Heard by   {opened.source}, model {opened.model}"
    if ended is None:
        yield "Outcome    Not finished"
    else:
        yield f"Outcome    {_ENDED[ended.outcome]}"
        yield f"Circuit    {ended.circuit or '-'}"
        yield f"Part       {ended.part or '-'}"
        yield f"Proved     {'yes, under load' if ended.proved else 'no'}"
    yield ""
    yield "WHAT COUNTED (power, tags and safety as the technician stated them)"
    for entry in _standing(entries):
        taken = entry.message
        assert isinstance(taken, Taken)
        where = taken.step.replace("_", " ") + (f", {taken.about}" if taken.about else "")
        yield f"{_clock(entry)}  {where:<28} {taken.value!s:<20} {_READ_BACK[taken.read_back]}"
    for entry in entries:
        if isinstance(entry.message, Note):
            yield f"{_clock(entry)}  note: {entry.message.text}"


def _standing(entries: Sequence[Entry]) -> list[Entry]:
    """What was taken and not withdrawn."""
    standing: list[Entry] = []
    for entry in entries:
        if isinstance(entry.message, Taken):
            standing.append(entry)
        elif isinstance(entry.message, Withdrawn):
            standing.pop()
    return standing


def _transcript(entries: Sequence[Entry]) -> Iterator[str]:
    for entry in entries:
        line = _line(entry)
        if line is not None:
            yield f"{_clock(entry)}  {line}"


def _line(entry: Entry) -> str | None:
    match entry.message:
        case Utterance(text=text, least_confidence=sureness):
            sure = "" if sureness is None else f"  [{sureness:.2f}]"
            return f"Technician  {text}{sure}"
        case Spoken(text=text):
            return f"Companion   {text}"
        case NotUnderstood(reason=reason):
            return f"            not taken: {reason.replace('_', ' ')}"
        case Reading() | Answer():
            return f"            understood: {entry.message}"
        case Finding(verdict=verdict, about=about):
            return f"            verdict: {about + ': ' if about else ''}{verdict}"
        case Withdrawn(value=value, step=step):
            return f"            withdrawn: {value} at {step.replace('_', ' ')}"
        case Blocked(interlock=interlock, step=step):
            return f"            interlock {interlock}: {step.replace('_', ' ')} kept shut"
        case CallResumed():
            return "            call resumed; power to be proven again"
        case StepEntered() | _:
            return None


def _clock(entry: Entry) -> str:
    return entry.wall[11:19]
