"""Reading the record of a call back, whatever a crash left of its end."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from companion.errors import JournalError
from companion.messages import Entry


@dataclass(frozen=True)
class Past:
    """What a journal holds: whole entries, how many bytes they take, and what is torn off."""

    entries: tuple[Entry, ...] = ()
    whole_bytes: int = 0
    torn_bytes: int = 0


def read(path: Path) -> Past:
    """Read a journal; a file that is not there is an empty one.

    A last line without its newline, or one that is not an entry, is what a crash in
    the middle of writing leaves: it is not read, only counted.

    Raises:
        JournalError: a line before the last is damaged, or the entries are not in order.
        OSError: the file can't be read.
    """
    if not path.exists():
        return Past()
    data = path.read_bytes()
    lines = data.split(b"\n")
    tail = lines.pop()
    entries: list[Entry] = []
    for number, line in enumerate(lines, start=1):
        try:
            entry = Entry.model_validate_json(line)
        except ValidationError as error:
            if number == len(lines) and not tail:
                tail = line + b"\n"
                break
            raise _damaged(path, number, "is not an entry") from error
        if entry.seq != number - 1:
            raise _damaged(path, number, f"has number {entry.seq}, expected {number - 1}")
        entries.append(entry)
    return Past(tuple(entries), len(data) - len(tail), len(tail))


def _damaged(path: Path, number: int, what: str) -> JournalError:
    return JournalError(
        f"{path}, line {number}, {what}: the record was changed or damaged.",
        safe="Nothing was written to it.",
        do="Keep the file as it is for review, and begin a new call.",
    )
