"""The bytes of a record: on the disk when ``save`` returns, in memory until they can be.

A disk that fails ends nothing. What was not saved is tried again with every ``save``, from the
last byte that is surely there; what can't be saved by the end goes to another place.
"""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Callable
from pathlib import Path

from filelock import FileLock, Timeout

from companion.errors import CallInUse, JournalError
from companion.journal.disk import Disk, trouble
from companion.journal.reading import Past, read
from companion.messages import Trouble

JOURNAL = "journal.jsonl"
TORN = "journal.torn"
_REMIND_AFTER = 20


class Saving:
    """A call's journal file, held against other processes.

    Args:
        folder: of the call; made if it is not there.
        disk: what writes, mono: a steady clock in seconds.

    Raises:
        CallInUse: another process has this call open.
        JournalError: what is there can't be read, or was changed.
    """

    def __init__(self, folder: Path, disk: Disk, mono: Callable[[], float]) -> None:
        self._folder, self._disk, self._mono = folder, disk, mono
        self._lock = FileLock(folder / "call.lock")
        self._handle: int | None = None
        self._failing: Trouble | None = None
        self._failing_since_s, self._failed = 0.0, 0
        self._told: list[str] = []
        try:
            self._hold()
        except OSError as error:
            self._fail(error)
        try:
            self.past = self._readable()
        except JournalError:
            self.close()
            raise
        self._whole = bytearray(self.past.whole)
        self._safe = 0 if self._failing else len(self._whole)
        if self.past.torn:
            self._put_aside(self.past.torn)
            self._told.append("The record was torn at its end. The last words may be lost.")

    def add(self, line: bytes) -> None:
        """Take a line; ``save`` puts it on the disk."""
        self._whole += line

    def save(self) -> Trouble | None:
        """Put everything on the disk; where that has failed and works again, what to record."""
        if self._safe == len(self._whole) and self._failing is None:
            return None
        try:
            if self._failing is not None:
                self._reach_again()
            assert self._handle is not None
            self._disk.put(self._handle, bytes(self._whole[self._safe :]), self._safe)
        except (OSError, CallInUse) as error:
            self._fail(error)
            return None
        self._safe = len(self._whole)
        return None if self._failing is None else self._recovered(self._failing)

    def told(self) -> list[str]:
        """What is to be said since the last question."""
        told, self._told = self._told, []
        return told

    def rescue(self) -> None:
        """Keep what is not saved where the system keeps what is passing: maybe another disk."""
        if self._failing is None or self._safe == len(self._whole):
            return
        elsewhere = Disk()
        place = Path(tempfile.gettempdir()) / "companion-unsaved" / self._folder.name
        try:
            elsewhere.make_folder(place)
            handle = elsewhere.open(place / JOURNAL)
            try:
                elsewhere.put(handle, bytes(self._whole), 0)
            finally:
                elsewhere.close(handle)
        except OSError:
            self._told.append("The end of the record could not be saved anywhere. It is lost.")
            return
        self._safe = len(self._whole)
        self._told.append(f"The whole record is in {place}. Copy it to a safe place.")

    def close(self) -> None:
        """Let go of the file and of the call."""
        if self._handle is not None:
            with contextlib.suppress(OSError):
                self._disk.close(self._handle)
            self._handle = None
        self._lock.release(force=True)

    def _hold(self) -> None:
        """Folder, lock, file.

        Raises:
            CallInUse: another process has this call open.
            OSError: the disk is full, read only, or not ours.
        """
        self._disk.make_folder(self._folder)
        try:
            self._lock.acquire(timeout=0)
        except Timeout as error:
            raise CallInUse(
                f"The call in {self._folder} is open in another process.",
                safe="That process keeps its record.",
                do="End it there first, or begin a new call.",
            ) from error
        self._handle = self._disk.open(self._folder / JOURNAL)

    def _readable(self) -> Past:
        path = self._folder / JOURNAL
        try:
            past = read(path)
        except OSError as error:
            raise JournalError(
                f"The record in {self._folder} can't be read: {error.strerror}.",
                safe="Nothing was written to it.",
                do="Choose another folder with --calls, or mend this one's permissions.",
            ) from error
        if past.changed_at is not None:
            raise JournalError(
                f"{path} was changed at line {past.changed_at} after it was kept.",
                safe="Nothing was written to it.",
                do="Keep the file as it is for review, and begin a new call.",
            )
        return past

    def _reach_again(self) -> None:
        """Open what failed anew, and find out how much of the record is really there.

        Raises:
            OSError: no better than before, or another record lies there now.
        """
        if self._handle is not None:
            with contextlib.suppress(OSError):
                self._disk.close(self._handle)
            self._handle = None
        self._hold()
        assert self._handle is not None
        there, whole = self._disk.contents(self._handle), bytes(self._whole)
        ours = max(self._safe, len(self.past.whole))
        if whole.startswith(there):
            self._safe = len(there)
        elif ours and there.startswith(whole[:ours]):
            self._safe = ours
        else:
            raise OSError(f"another record lies in {self._folder}")

    def _fail(self, error: OSError | CallInUse) -> None:
        self._failed += 1
        if self._failing is None:
            self._failing = trouble(error if isinstance(error, OSError) else OSError(str(error)))
            self._failing_since_s = self._mono()
            self._told.append(self._failing.told)
        elif self._failed % _REMIND_AFTER == 0:
            self._told.append("I still can't save the record.")

    def _recovered(self, failing: Trouble) -> Trouble:
        unsaved_s = max(0.0, self._mono() - self._failing_since_s)
        self._failing, self._failed = None, 0
        self._told.append("I can save again. Nothing of the record is lost.")
        return failing.model_copy(update={"unsaved_s": unsaved_s})

    def _put_aside(self, torn: bytes) -> None:
        with contextlib.suppress(OSError):  # a courtesy: no entry is in it
            handle = self._disk.open(self._folder / TORN)
            try:
                self._disk.put(handle, torn + b"\n", len(self._disk.contents(handle)))
            finally:
                self._disk.close(handle)
            if self._handle is not None:
                self._disk.put(self._handle, b"", len(self.past.whole))
