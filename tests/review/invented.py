"""A call that never was, with everything a record can hold, for pages and tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from companion.journal import JOURNAL, Journal, read
from companion.messages import Message, Note, Spoken
from companion.turns import Dialogs
from companion.understood import HeardWord, Utterance
from tests.calls.scripts import lines_of
from tests.journal.faulty import talk

_SAID = lines_of("ice-cream parlour")
_ASKED_VOLTS = _SAID.index("zero volts")
_LEADS = _SAID.index("point two")
# Ohms where volts are asked for, and a reading that is corrected twice.
LINES = (*_SAID[:_ASKED_VOLTS], "zero ohms", *_SAID[_ASKED_VOLTS:_LEADS], "point nine",
         "no point eight", "correction point two", *_SAID[_LEADS + 1 :])  # fmt: skip


def invented_call(dialogs: Dialogs, folder: Path, *, sound: bool = True) -> Path:
    """A repaired contactor coil on Y, in a folder of its own; returns the folder."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    draft = folder.parent / f"draft-of-{folder.name}"
    with Journal(draft) as journal:
        assert talk(dialogs, journal, LINES) is not None
    messages = [entry.message for entry in read(draft / JOURNAL).entries]
    for path in draft.iterdir():
        path.unlink()
    draft.rmdir()
    with Journal(folder) as journal:
        for number, message in enumerate(messages):
            journal.append([_heard(folder, number, message) if sound else message])
        journal.append([Note(text="Wasp nest in the outdoor unit; told the owner.")])
    return folder


def _heard(folder: Path, number: int, message: Message) -> Message:
    """The same with a clip, and with confidences as a recogniser gives them."""
    if not isinstance(message, Utterance | Spoken):
        return message
    clip = f"clip-{number:04d}.flac"
    hertz = 180 if isinstance(message, Utterance) else 260
    seconds = 0.12 * len(message.text.split())
    swell = np.sin(np.arange(int(16000 * seconds)) * hertz * 2 * np.pi / 16000) * 0.2
    soundfile.write(folder / clip, swell, 16000)
    if isinstance(message, Spoken):
        return message.model_copy(update={"clip": clip})
    words = tuple(
        HeardWord(text=word, confidence=0.72 if word == "eight" else 0.97, start_s=i / 3,
                  end_s=(i + 1) / 3)
        for i, word in enumerate(message.text.split())
    )  # fmt: skip
    return message.model_copy(update={"clip": clip, "words": words, "source": "wav"})
