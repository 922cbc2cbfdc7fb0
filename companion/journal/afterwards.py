"""Words put right and remarks, after a call: appended to its record, never over it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from companion.errors import JournalError
from companion.journal.reading import read
from companion.journal.saving import JOURNAL
from companion.journal.writing import Journal
from companion.messages import MESSAGE, Remark, WordCorrected
from companion.understood import Utterance

Afterwards = Remark | WordCorrected


def words_of(utterance: Utterance) -> list[str]:
    """Its words, with or without their times."""
    return [word.text for word in utterance.words] or utterance.text.split()


def word_at(folder: Path, line: int, word: int, meant: str, by: str = "") -> WordCorrected:
    """A correction of one word that was heard; line and word count from 0.

    Raises:
        JournalError: nothing was heard there.
    """
    entries = read(folder / JOURNAL).entries
    heard = entries[line].message if 0 <= line < len(entries) else None
    if not isinstance(heard, Utterance) or not 0 <= word < len(words_of(heard)):
        raise _refused(f"Line {line} of {folder / JOURNAL} has no word {word + 1} that was heard.")
    text = words_of(heard)[word]
    return WordCorrected(about=line, word=word, heard=text, meant=meant, by=by)


def corrections_in(file: Path) -> list[Afterwards]:
    """What a review page saved.

    Raises:
        JournalError: the file can't be read, or holds something else.
    """
    added: list[Afterwards] = []
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise _refused(f"{file} can't be read: {error}.") from error
    for number, line in enumerate(lines, start=1):
        try:
            message = MESSAGE.validate_json(line)
        except ValidationError as error:
            raise _refused(f"{file}, line {number}, is no correction.") from error
        if not isinstance(message, Remark | WordCorrected):
            raise _refused(f"{file}, line {number}, is a {message.kind!r}, no correction.")
        added.append(message)
    return added


def append(folder: Path, added: Sequence[Afterwards]) -> None:
    """Put corrections on record, if each is of a word that was heard.

    Raises:
        CallInUse: the call is still going on.
        JournalError: one is of another call, or the record can't be written.
    """
    if not (folder / JOURNAL).exists():
        raise _refused(f"There is no record in {folder}.")
    entries = read(folder / JOURNAL).entries
    for message in added:
        about = message.about
        heard = entries[about].message if about is not None and about < len(entries) else None
        if isinstance(message, WordCorrected):
            words = words_of(heard) if isinstance(heard, Utterance) else []
            if message.word >= len(words) or words[message.word] != message.heard:
                raise _refused(f"“{message.heard}” was not heard there; is it of another call?")
        elif about is not None and heard is None:
            raise _refused(f"There is no line {about}.")
    with Journal(folder) as journal:
        journal.append(added)
        told = journal.troubles()
    if told:
        raise JournalError(told[0], safe="The call itself is kept.", do="Make room, and try again.")


def _refused(what: str) -> JournalError:
    return JournalError(
        what, safe="Nothing was appended.", do="Look up line and word on the call's review page."
    )
