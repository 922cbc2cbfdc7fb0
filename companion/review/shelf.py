"""Finding calls among many: by name, or by what was said in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from companion.errors import JournalError
from companion.journal import JOURNAL, Past, read
from companion.messages import Note, Remark
from companion.review.facts import Facts, gather
from companion.review.telling import tell
from companion.understood import Utterance


@dataclass(frozen=True)
class Shelved:
    """A call in the folder of calls."""

    folder: Path
    past: Past
    facts: Facts


def shelved(calls: Path) -> Iterator[Shelved]:
    """Every call that can be read, oldest first."""
    for journal in sorted(calls.glob(f"*/{JOURNAL}")):
        try:
            past = read(journal)
        except JournalError:
            continue
        yield Shelved(journal.parent, past, gather(past.entries))


def unreadable(calls: Path) -> Iterator[str]:
    """What is wrong with the records that can't be read."""
    for journal in sorted(calls.glob(f"*/{JOURNAL}")):
        try:
            read(journal)
        except JournalError as error:
            yield error.what


def listed(calls: Path, words: Sequence[str] = ()) -> Iterator[Shelved]:
    """The calls in which all words occur: in their name, outcome, equipment, notes, or speech."""
    for call in shelved(calls):
        text = _text(call).casefold()
        if all(word.casefold() in text for word in words):
            yield call


def row(call: Shelved) -> str:
    """One line on a call."""
    facts = call.facts
    return f"{call.folder.name:<34} {facts.begun[:16]:<17} {tell(facts).headline}"


def find(calls: Path, name: str | None) -> Path:
    """The folder of a call, by path, by name, or by the beginning of its name; or the newest.

    Raises:
        JournalError: there is none, or more than one.
    """
    if name is not None and (Path(name) / JOURNAL).exists():
        return Path(name)
    folders = sorted(
        (path.parent for path in calls.glob(f"*/{JOURNAL}")),
        key=lambda folder: (folder / JOURNAL).stat().st_mtime,
    )
    if name is not None:
        folders = [folder for folder in folders if folder.name.startswith(name)]
    if not folders or (name is not None and len(folders) > 1):
        which = "no call" if not folders else f"{len(folders)} calls"
        raise JournalError(
            f"There is {which} {name or ''} in {calls}." if not folders
            else f"There are {which} {name} in {calls}.",
            safe="Nothing was changed.",
            do="Name a folder, or list them with: companion calls",
        )  # fmt: skip
    return folders[-1]


def _text(call: Shelved) -> str:
    facts = call.facts
    said = [
        entry.message.text
        for entry in call.past.entries
        if isinstance(entry.message, Utterance | Note | Remark)
    ]
    return " ".join([call.folder.name, facts.profile or "", tell(facts).headline, *said])
