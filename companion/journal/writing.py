"""Appending to the record of a call.

One folder a call; in it ``journal.jsonl``, one ``Entry`` a line. ``append`` returns when the
lines are on the disk (write and fsync), so what the companion does next always follows
something on record. Where the disk fails, ``troubles`` tells, and the call goes on.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import soundfile

from companion.journal.clock import Clock, wall_now
from companion.journal.disk import Disk
from companion.journal.lines import seal
from companion.journal.reading import digest
from companion.journal.saving import Saving
from companion.journal.sound import WholeCall, fingerprint, is_speech, permitted, to_flac
from companion.messages import SCHEMA_VERSION, Consent, Entry, Message, Sound, Trouble, Upgraded


class Journal:
    """The open record of one call. A context manager; only one process may hold it. Threads may.

    Args:
        folder: the call's folder; made if it is not there. A torn end, left by a crash, is
            moved to ``journal.torn`` when the file is opened; ``dropped_bytes`` tells.
        now: the wall clock, mono: a steady clock in seconds.
        disk: what writes.

    Raises:
        CallInUse: another process has this call open.
        JournalError: what is there can't be read, or was changed.
    """

    def __init__(
        self,
        folder: Path,
        *,
        now: Callable[[], datetime] = wall_now,
        mono: Callable[[], float] = time.monotonic,
        disk: Disk | None = None,
    ) -> None:
        self.folder = folder
        self._disk = Disk() if disk is None else disk
        self._saving = Saving(folder, self._disk, mono)
        self._clock = Clock(now, mono)
        self._one_at_a_time = threading.RLock()
        self._told: list[str] = []
        self._spare: Path | None = None
        self._clip_missed = False
        self._whole_call = WholeCall(folder)
        self.past = self._saving.past
        self.dropped_bytes = self.past.torn_bytes
        self._seq, self._seal = len(self.past.entries), self.past.seal
        said = [entry.message for entry in self.past.entries]
        self._consents = [message for message in said if isinstance(message, Consent)]
        if self.past.version < SCHEMA_VERSION and self.past.entries:
            self._seal = digest(self.past.whole)
            self.append([Upgraded(from_version=self.past.version, sha256=self._seal)])

    def append(self, messages: Sequence[Message]) -> None:
        """Put messages on record, in order, on disk when this returns or told why not."""
        with self._one_at_a_time:
            for message in messages:
                self._add(message)
            for odd in self._clock.oddities():
                self._told.append(odd)
                self._add(Trouble(cause="clock", told=odd))
            over = self._saving.save()
            if over is not None:
                self._add(over)
                self._saving.save()

    def troubles(self) -> list[str]:
        """What is to be said of the record since the last question, a sentence or two each."""
        with self._one_at_a_time:
            told, self._told = [*self._saving.told(), *self._told], []
            return told

    def may_keep(self, covers: Sound) -> bool:
        """Whether this sound may be kept, by what was said so far."""
        return permitted(covers, self._consents)

    def keep_sound(self, sound: Path) -> str | None:
        """Keep what was spoken without loss in a smaller file; its name, for the record.

        The file that it was made from goes when the next one comes: it is still played.
        """
        with self._one_at_a_time:
            self._drop_spare()
            kept = self.folder / f"said-{self._seq:06d}.flac"
            try:
                to_flac(sound, kept)
            except (OSError, soundfile.LibsndfileError):
                self._without_sound("I can't save the sound of what I say.")
                _remove(kept)
                return None
            self._spare = sound
            return kept.name

    def hear(self, samples: Any, rate: int) -> None:
        """Take the sound of the call as it runs, mono int16; it is kept by consent only."""
        with self._one_at_a_time:
            try:
                self._whole_call.hear(samples, rate, may=self.may_keep("whole_call"))
            except (OSError, soundfile.LibsndfileError):
                self._whole_call.give_up()
                self._without_sound("I can't save the sound of the call. I go on without.")

    def settle(self) -> list[str]:
        """At the end of a call: try to save once more, somewhere else if need be.

        Returns:
            What is to be told.
        """
        with self._one_at_a_time:
            self._drop_spare()
            self.append([])
            self._saving.rescue()
            return self.troubles()

    def close(self) -> None:
        """Let go of the file and of the call; what is not saved yet is tried once more."""
        with self._one_at_a_time:
            self.settle()
            self._whole_call.close()
            self._saving.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _add(self, message: Message) -> None:
        mark = None
        clip: str | None = getattr(message, "clip", None)
        if clip is not None and is_speech(message) and not self.may_keep("utterances"):
            _remove(self.folder / clip)
            message, clip = message.model_copy(update={"clip": None}), None
        if clip is not None:
            with contextlib.suppress(OSError):  # without its sound the entry still counts
                self._disk.sync(self.folder / clip)
            mark = fingerprint(self.folder / clip)
            if mark is None:
                message = message.model_copy(update={"clip": None})
                if not self._clip_missed:
                    self._clip_missed = True
                    self._told.append("I can't save the sound of what is said. I go on without.")
        wall, steady = self._clock.stamp()
        entry = Entry(
            seq=self._seq, wall=wall.isoformat(), mono_s=steady, message=message, clip_sha256=mark
        )
        line, self._seal = seal(self._seal, entry)
        self._saving.add(line)
        self._seq += 1
        if isinstance(message, Consent):
            self._consents.append(message)

    def _without_sound(self, told: str) -> None:
        self._told.append(told)
        self.append([Trouble(cause="sound", told=told)])

    def _drop_spare(self) -> None:
        if self._spare is not None:
            _remove(self._spare)
            self._spare = None


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)
