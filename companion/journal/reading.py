"""Reading the record of a call back, whatever a crash left of its end."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass
from pathlib import Path

from companion.errors import JournalError
from companion.journal.lines import entry_of, holds, sealed
from companion.messages import SCHEMA_VERSION, CallOpened, Entry, Upgraded


@dataclass(frozen=True)
class Past:
    """What a journal holds.

    Args:
        entries: the whole ones.
        whole: their bytes.
        torn: what a crash left after them.
        version: the schema that the last of them was written by.
        seal: of the last line; to be held against the one on a page made earlier.
        changed_at: the first line whose seal does not hold; None for an untouched record.
    """

    entries: tuple[Entry, ...] = ()
    whole: bytes = b""
    torn: bytes = b""
    version: int = SCHEMA_VERSION
    seal: str = ""
    changed_at: int | None = None

    @property
    def whole_bytes(self) -> int:
        """Size of the whole entries."""
        return len(self.whole)

    @property
    def torn_bytes(self) -> int:
        """Size of the torn end."""
        return len(self.torn)


def read(path: Path) -> Past:
    """Read a journal; a file that is not there is an empty one.

    What a crash in the middle of writing leaves is not read, only kept in ``torn``: a last
    line without its newline, one that is not an entry, or everything from a line with NUL
    bytes on, which is how a block that never reached the disk reads.

    Raises:
        JournalError: a line before the last is damaged, the entries are not in order, or
            the record is of a newer schema.
        OSError: the file can't be read.
    """
    if not os.path.exists(path):  # also where nobody may look
        return Past()
    data = path.read_bytes()
    end = data.rfind(b"\n", 0, hole if (hole := data.find(b"\0")) >= 0 else len(data)) + 1
    entries: list[Entry] = []
    version, mark, changed_at, begin = SCHEMA_VERSION, "", None, 0
    while begin < end:
        stop = data.index(b"\n", begin)
        line, number = data[begin:stop], len(entries) + 1
        if number == 1 and not sealed(line):
            version = 1
        try:
            entry = entry_of(line, SCHEMA_VERSION if sealed(line) else version)
        except ValueError as error:
            if stop + 1 == len(data):
                end = begin
                break
            newer = _newer(path, line) if number == 1 else None
            raise newer or _damaged(path, number, "is not an entry") from error
        if entry.seq != number - 1:
            raise _damaged(path, number, f"has number {entry.seq}, expected {number - 1}")
        if isinstance(entry.message, Upgraded) and version < SCHEMA_VERSION:
            version, mark = entry.message.to_version, digest(data[:begin])
            if entry.message.sha256 != mark:
                changed_at = changed_at or number
        if version < SCHEMA_VERSION and entry.chain:
            changed_at = changed_at or number  # seals begin where a newer schema does
        if version == SCHEMA_VERSION:
            if not holds(mark, line):
                changed_at = changed_at or number
            mark = entry.chain
        entries.append(entry)
        begin = stop + 1
    first = entries[0].message if entries else None
    if isinstance(first, CallOpened) and first.schema_version > SCHEMA_VERSION:
        raise _too_new(path, first.schema_version)
    return Past(tuple(entries), data[:end], data[end:], version, mark, changed_at)


def digest(data: bytes) -> str:
    """What an older record is sealed by when it is gone on with."""
    return hashlib.sha256(data).hexdigest()


def _newer(path: Path, line: bytes) -> JournalError | None:
    """A first line that only says which schema it is of."""
    try:
        version = json.loads(line)["message"]["schema_version"]
    except (ValueError, KeyError, TypeError):
        return None
    newer = isinstance(version, int) and version > SCHEMA_VERSION
    return _too_new(path, version) if newer else None


def _too_new(path: Path, version: int) -> JournalError:
    return JournalError(
        f"{path} is of schema {version}; this program knows schemas up to {SCHEMA_VERSION}.",
        safe="Nothing was written to it.",
        do="Read it with the newer program that wrote it.",
    )


def _damaged(path: Path, number: int, what: str) -> JournalError:
    return JournalError(
        f"{path}, line {number}, {what}: the record was changed or damaged.",
        safe="Nothing was written to it.",
        do="Keep the file as it is for review, and begin a new call.",
    )
