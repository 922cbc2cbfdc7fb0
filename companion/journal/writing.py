"""Appending to the record of a call.

One folder a call; in it ``journal.jsonl``, one ``Entry`` a line. ``append`` returns
only when the lines have been handed to the disk (flush and fsync), so what the
companion does next always follows something on record.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

from filelock import FileLock, Timeout

from companion.errors import CallInUse, JournalError
from companion.journal.reading import read
from companion.messages import Entry, Message

JOURNAL = "journal.jsonl"


def _now() -> datetime:
    return datetime.now(UTC)


class Journal:
    """The open record of one call. A context manager; only one process may hold it.

    Args:
        folder: the call's folder; made if it is not there. A torn last line, left by
            a crash, is cut off when the file is opened; ``dropped_bytes`` tells.
        now: the wall clock, mono: a steady clock in seconds.

    Raises:
        CallInUse: another process has this call open.
        JournalError: the folder or the file can't be written.
    """

    def __init__(
        self,
        folder: Path,
        *,
        now: Callable[[], datetime] = _now,
        mono: Callable[[], float] = time.monotonic,
    ) -> None:
        self.folder = folder
        self._now, self._mono = now, mono
        self._lock = FileLock(folder / "call.lock")
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock.acquire(timeout=0)
        except Timeout as error:
            raise CallInUse(
                f"The call in {folder} is open in another process.",
                safe="That process keeps its record.",
                do="End it there first, or begin a new call.",
            ) from error
        except OSError as error:
            raise self._unwritable(error) from error
        try:
            self.past = read(folder / JOURNAL)
            self.dropped_bytes = self.past.torn_bytes
            self._seq = len(self.past.entries)
            self._file: IO[bytes] = (folder / JOURNAL).open("ab")
            self._file.truncate(self.past.whole_bytes)
        except OSError as error:
            self._lock.release()
            raise self._unwritable(error) from error
        except JournalError:
            self._lock.release()
            raise

    def append(self, messages: Sequence[Message]) -> None:
        """Put messages on record, in order, on disk when this returns.

        Raises:
            JournalError: the disk is full or gone; nothing may then be acted on.
        """
        if not messages:
            return
        lines = b"".join(self._line(message) for message in messages)
        try:
            self._file.write(lines)
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise self._unwritable(error) from error

    def _line(self, message: Message) -> bytes:
        entry = Entry(
            seq=self._seq, wall=self._now().isoformat(), mono_s=self._mono(), message=message
        )
        self._seq += 1
        return json.dumps(entry.model_dump(mode="json"), ensure_ascii=False).encode() + b"\n"

    def _unwritable(self, error: OSError) -> JournalError:
        return JournalError(
            f"The record in {self.folder} can't be written: {error.strerror}.",
            safe="What was recorded before this is kept.",
            do="Make room or choose another folder with --calls, then --resume the call.",
        )

    def close(self) -> None:
        """Let go of the file and of the call."""
        self._file.close()
        self._lock.release()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
