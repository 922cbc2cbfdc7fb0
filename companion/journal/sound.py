"""The sound of a call: a lossless clip for each thing said, the whole of it only by consent."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import soundfile

from companion.messages import Consent, Entry, Message, Note, Sound
from companion.understood import Utterance

_WITHOUT_A_WORD: dict[Sound, bool] = {"utterances": True, "whole_call": False}


def permitted(covers: Sound, messages: Iterable[Message]) -> bool:
    """Whether this sound may be kept: as last said, and before anything was said the
    technician's utterances may, the whole call may not."""
    may = _WITHOUT_A_WORD[covers]
    for message in messages:
        if isinstance(message, Consent) and message.covers == covers:
            may = message.given
    return may


def is_speech(message: Message) -> bool:
    """Whether a message's clip is of somebody speaking, who may refuse that it be kept."""
    return isinstance(message, Utterance | Note)


def fingerprint(path: Path) -> str | None:
    """What a clip is known by; None where there is none to read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


def to_flac(sound: Path, kept: Path) -> None:
    """The same samples, smaller.

    Raises:
        OSError, soundfile.LibsndfileError: it can't be read or written.
    """
    samples, rate = soundfile.read(sound, dtype="int16")
    soundfile.write(kept, samples, rate, format="FLAC", subtype="PCM_16")


def altered_clips(folder: Path, entries: Iterable[Entry]) -> list[str]:
    """Clips that are no longer the ones on record, or are gone."""
    named = [(getattr(entry.message, "clip", None), entry.clip_sha256) for entry in entries]
    return [clip for clip, mark in named if clip and mark and fingerprint(folder / clip) != mark]


class WholeCall:
    """The sound of a call from the consent on. Without consent it takes nothing.

    Args:
        folder: of the call; files are ``call-01.flac`` and so on, one for each consent.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._file: Any = None
        self._given_up = False

    def hear(self, samples: Any, rate: int, *, may: bool) -> None:
        """Take mono int16 samples, at ``rate`` in hertz; ``may`` tells of the consent by now.

        Raises:
            OSError, soundfile.LibsndfileError: the disk is full or gone.
        """
        if not may:
            self.close()
            return
        if self._given_up:
            return
        if self._file is None:
            number = len(list(self._folder.glob("call-*.flac"))) + 1
            path = self._folder / f"call-{number:02d}.flac"
            self._file = soundfile.SoundFile(path, "w", rate, 1, "PCM_16")
        self._file.write(samples)

    def give_up(self) -> None:
        """Take no more, whatever the consent."""
        self._given_up = True
        with contextlib.suppress(OSError, soundfile.LibsndfileError):
            self.close()

    def close(self) -> None:
        """End the file."""
        if self._file is not None:
            file, self._file = self._file, None
            file.close()
