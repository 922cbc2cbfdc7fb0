"""What a record says of a call, gathered once for every way of showing it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from companion.messages import (
    Blocked,
    CallOpened,
    CallResumed,
    Concluded,
    Entry,
    Finding,
    Note,
    Prompt,
    Remark,
    StepEntered,
    Suspicion,
    Taken,
    Trouble,
    Withdrawn,
    WordCorrected,
)
from companion.understood import Answer, Command, HeardWord, NotUnderstood, Reading, Utterance

_DISTANCE = re.compile(r"\d\s*(feet|foot|metres?|meters?)\b")


@dataclass(frozen=True)
class Counted:
    """A value that was taken: where, how sure it was heard, how it was checked, what it meant."""

    seq: int
    clock: str
    step: str
    phase: str
    about: str | None
    value: Reading | Answer
    said: str
    confidence: float | None
    read_back: str
    clip: str | None
    heard_seq: int | None
    verdict: str | None = None
    withdrawn: bool = False

    @property
    def where(self) -> str:
        """The step in words, with the terminal or part."""
        step = self.step.replace("_", " ")
        return f"{step}, {self.about}" if self.about else step


@dataclass(frozen=True)
class Believed:
    """What the reasoner believed after a piece of evidence."""

    seq: int
    clock: str
    after: str
    suspicion: Suspicion


@dataclass
class Facts:
    """Everything that a page, a text or a table of calls tells of one call."""

    opened: CallOpened | None = None
    ended: Concluded | None = None
    begun: str = ""
    over: str = ""
    counted: list[Counted] = field(default_factory=list)
    believed: list[Believed] = field(default_factory=list)
    blocked: list[tuple[str, Blocked]] = field(default_factory=list)
    cautions: list[tuple[str, str]] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    troubles: list[tuple[str, str]] = field(default_factory=list)
    missed: list[NotUnderstood] = field(default_factory=list)
    words: dict[int, tuple[HeardWord, ...]] = field(default_factory=dict)
    corrected: dict[int, list[WordCorrected]] = field(default_factory=dict)
    remarks: list[tuple[str, Remark]] = field(default_factory=list)
    utterances: int = 0
    replaced: int = 0
    stops: int = 0
    resumed: int = 0
    dropped_bytes: int = 0
    standing: str = ""
    distance: str = ""

    @property
    def profile(self) -> str | None:
        """The equipment: as given, or as it was answered for."""
        if self.opened is not None and self.opened.profile:
            return self.opened.profile
        named = [c.value.name for c in self.standing_values if isinstance(c.value, Answer)
                 and c.step == "equipment"]  # fmt: skip
        return named[-1] if named else None

    @property
    def standing_values(self) -> list[Counted]:
        """What counted to the end."""
        return [value for value in self.counted if not value.withdrawn]

    @property
    def minutes(self) -> float:
        """From the first entry of the call to the last before anything was put right."""
        if not self.begun or not self.over:
            return 0.0
        span = datetime.fromisoformat(self.over) - datetime.fromisoformat(self.begun)
        return max(0.0, span.total_seconds() / 60)


def clock(entry: Entry) -> str:
    """Time of day of an entry, UTC."""
    return entry.wall[11:19]


def gather(entries: Sequence[Entry]) -> Facts:
    """Go through a record once."""
    facts = Facts(begun=entries[0].wall if entries else "")
    phase, heard = "", None
    for entry in entries:
        at, message = clock(entry), entry.message
        if not isinstance(message, WordCorrected | Remark):
            facts.over = entry.wall
        match message:
            case CallOpened():
                facts.opened = message
            case StepEntered():
                phase, facts.standing = message.phase, message.step
            case Utterance():
                heard = entry
                facts.utterances += 1
                facts.words[entry.seq] = message.words or tuple(
                    HeardWord(text=word) for word in message.text.split()
                )
            case Taken():
                facts.counted.append(_counted(entry, message, phase, heard))
            case Withdrawn():
                facts.replaced += 1
                _withdraw(facts, message)
            case Finding() if facts.counted:
                facts.counted[-1] = replace(facts.counted[-1], verdict=message.verdict)
            case Suspicion():
                last = facts.counted[-1] if facts.counted else None
                after = f"{last.where}: {last.value}" if last else "before anything was read"
                facts.believed.append(Believed(entry.seq, at, after, message))
            case Blocked():
                facts.blocked.append((at, message))
            case Prompt(role="tell") if _DISTANCE.search(worded(message)):
                facts.distance = worded(message)
            case Prompt(role="caution"):
                facts.cautions.append((at, worded(message)))
            case Note():
                facts.notes.append((at, message.text))
            case Trouble():
                facts.troubles.append((at, message.told))
            case NotUnderstood():
                facts.missed.append(message)
            case Command(name="stop"):
                facts.stops += 1
            case CallResumed():
                facts.resumed += 1
                facts.dropped_bytes += message.dropped_bytes
            case Concluded():
                facts.ended = message
            case WordCorrected():
                facts.corrected.setdefault(message.about, []).append(message)
            case Remark():
                facts.remarks.append((at, message))
    return facts


def worded(prompt: Prompt) -> str:
    """A prompt's words with its slots filled."""
    text = prompt.template
    for name, value in prompt.slots.items():
        text = text.replace("{" + name + "}", str(value))
    return text


def _counted(entry: Entry, taken: Taken, phase: str, heard: Entry | None) -> Counted:
    said = heard.message if heard is not None else None
    assert said is None or isinstance(said, Utterance)
    return Counted(
        seq=entry.seq, clock=clock(entry), step=taken.step, phase=phase, about=taken.about,
        value=taken.value, said=taken.value.said or (said.text if said else ""),
        confidence=said.least_confidence if said else None, read_back=taken.read_back,
        clip=said.clip if said else None, heard_seq=heard.seq if heard else None,
    )  # fmt: skip


def _withdraw(facts: Facts, message: Withdrawn) -> None:
    for index in range(len(facts.counted) - 1, -1, -1):
        value = facts.counted[index]
        if not value.withdrawn and (value.step, value.about) == (message.step, message.about):
            facts.counted[index] = replace(value, withdrawn=True)
            return
