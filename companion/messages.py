"""The frozen records that rooms exchange, and that the journal keeps.

One turn of a call, as data:

    Utterance -> Reading | Answer | Command | NotUnderstood -> Prompt, Finding, ... -> Spoken

Every record round-trips through JSON. Those up to what was understood are in ``understood.py``.
What a step expects is in ``expected.py``: it follows from the state of the call, and is
kept nowhere.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from companion.understood import (
    Answer,
    Command,
    NotUnderstood,
    Reading,
    Record,
    Utterance,
)

SCHEMA_VERSION = 2


Style = Literal["usual", "brief", "explain"]


class CallOpened(Record):
    """First record of a call."""

    kind: Literal["call_opened"] = "call_opened"
    schema_version: int = SCHEMA_VERSION
    call_id: str
    procedure: str
    profile: str | None
    dialogs_digest: str
    model: str
    source: str
    floor: dict[str, float]
    style: Style = "usual"


class CallResumed(Record):
    """The call goes on after a break; nothing said before it about power still holds.

    ``floor`` is of the ears that it goes on with; None where they are the same."""

    kind: Literal["call_resumed"] = "call_resumed"
    dropped_bytes: int = 0
    floor: dict[str, float] | None = None


class StepEntered(Record):
    """The procedure now stands at this step."""

    kind: Literal["step_entered"] = "step_entered"
    step: str
    phase: str
    about: str | None = None


class Prompt(Record):
    """One thing to say. ``{slots}`` in the template are filled where it is worded."""

    kind: Literal["prompt"] = "prompt"
    role: Literal["ask", "tell", "caution", "read_back", "ask_again", "refuse"]
    template: str
    slots: dict[str, str | Reading] = Field(default={})


class Taken(Record):
    """An answer or reading that now counts. ``read_back`` tells how it was checked."""

    kind: Literal["taken"] = "taken"
    step: str
    about: str | None = None
    value: Reading | Answer
    read_back: Literal["confirmed", "said_twice", "said_back"]


class Finding(Record):
    """What a taken value means."""

    kind: Literal["finding"] = "finding"
    step: str
    about: str | None = None
    verdict: str


class Suspect(Record):
    """A part that may be at fault, and how likely; ``fault`` says in what way."""

    part: str
    fault: str
    terminal: str | None = None
    chance: float = Field(ge=0.0, le=1.0)


class Suspicion(Record):
    """What the reasoner believes, likeliest first. ``odd`` names tests whose outcome fits nothing;
    ``enough`` says that no further test is worth its minutes."""

    kind: Literal["suspicion"] = "suspicion"
    suspects: tuple[Suspect, ...]
    odd: tuple[str, ...] = ()
    enough: bool = False
    words: str = ""


class Withdrawn(Record):
    """A value that counted and no longer does, by 'back' or 'correction'."""

    kind: Literal["withdrawn"] = "withdrawn"
    step: str
    about: str | None = None
    value: Reading | Answer


class Blocked(Record):
    """An interlock kept a step shut."""

    kind: Literal["blocked"] = "blocked"
    interlock: str
    step: str


class Note(Record):
    """Free dictation: the words that were understood."""

    kind: Literal["note"] = "note"
    text: str
    clip: str | None = None


class Mark(Record):
    """A moment to find again in the record."""

    kind: Literal["mark"] = "mark"
    step: str


class Manner(Record):
    """How prompts are spoken from here on: factors on the usual pace and loudness."""

    kind: Literal["manner"] = "manner"
    pace: float = Field(default=1.0, ge=0.5, le=2.0)
    loudness: float = Field(default=1.0, ge=0.1, le=4.0)


class Styled(Record):
    """How much is said from here on: usual, brief for the experienced, or with reasons."""

    kind: Literal["styled"] = "styled"
    style: Style


class HandOver(Record):
    """Somebody else takes the call on; nothing said before about power still holds."""

    kind: Literal["hand_over"] = "hand_over"
    step: str


class Spoken(Record):
    """What was really said, in words, and the sound of it if there is any."""

    kind: Literal["spoken"] = "spoken"
    text: str
    clip: str | None = None


class Concluded(Record):
    """How the call ended."""

    kind: Literal["concluded"] = "concluded"
    outcome: Literal["repaired", "found", "not_found", "unsafe", "handed_over"]
    circuit: str | None = None
    part: str | None = None
    proved: bool = False


Sound = Literal["utterances", "whole_call"]


class Consent(Record):
    """Whether sound may be kept: of each utterance, or of the whole call."""

    kind: Literal["consent"] = "consent"
    covers: Sound
    given: bool
    said: str = ""


class Trouble(Record):
    """The record could not be kept as it should. ``unsaved_s`` tells how long entries stood in
    memory only; their own times are when they happened."""

    kind: Literal["trouble"] = "trouble"
    cause: Literal["disk_full", "read_only", "no_permission", "disk", "clock", "sound"]
    told: str
    unsaved_s: float = Field(default=0.0, ge=0.0)


class Upgraded(Record):
    """From here on a newer schema; ``sha256`` is of every byte before this entry."""

    kind: Literal["upgraded"] = "upgraded"
    from_version: int
    to_version: int = SCHEMA_VERSION
    sha256: str


class WordCorrected(Record):
    """Afterwards: a word of entry ``about`` was something else. What was done on it stays done."""

    kind: Literal["word_corrected"] = "word_corrected"
    about: int = Field(ge=0)
    word: int = Field(ge=0)
    heard: str
    meant: str
    by: str = ""


class Remark(Record):
    """Afterwards: something to add, to entry ``about`` or to the whole call."""

    kind: Literal["remark"] = "remark"
    about: int | None = None
    text: str
    by: str = ""


Aside = Spoken | Trouble | Upgraded | WordCorrected | Remark
Understanding = Annotated[Reading | Answer | Command | NotUnderstood, Field(discriminator="kind")]
Message = Annotated[
    CallOpened
    | CallResumed
    | Utterance
    | Reading
    | Answer
    | Command
    | NotUnderstood
    | StepEntered
    | Prompt
    | Taken
    | Finding
    | Suspicion
    | Withdrawn
    | Blocked
    | Note
    | Mark
    | Manner
    | Styled
    | HandOver
    | Spoken
    | Concluded
    | Consent
    | Trouble
    | Upgraded
    | WordCorrected
    | Remark,
    Field(discriminator="kind"),
]
MESSAGE: TypeAdapter[Message] = TypeAdapter(Message)


class Entry(Record):
    """One line of the journal. ``wall`` is ISO 8601 UTC, ``mono_s`` a steady clock that
    starts anew with the machine. ``clip_sha256`` is of the sound that the message names;
    ``chain`` of the ``chain`` before and of this line without its own."""

    seq: int = Field(ge=0)
    wall: str
    mono_s: float
    message: Message
    clip_sha256: str | None = None
    chain: str = ""
