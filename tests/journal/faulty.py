"""Disks that fail on purpose, and a call of a technician to write on them."""

from __future__ import annotations

import errno
import io
import os
from dataclasses import dataclass
from pathlib import Path

from companion.call import Call
from companion.hearing import TypedEars
from companion.journal import JOURNAL, Disk, Journal
from companion.messages import Concluded, Message
from companion.speaking import MutedVoice
from companion.turns import Dialogs
from companion.understood import Utterance
from tests.calls.scripts import lines_of
from tests.conftest import Quiet, opened

LINES = lines_of("ice-cream parlour")
TRUTH = Concluded(outcome="repaired", circuit="Y", part="contactor coil", proved=True)


class Killed(BaseException):
    """The process ends here, whatever it was about to do."""


@dataclass
class FaultyDisk(Disk):
    """Counts its operations; from ``at`` on, ``times`` of them fail in the way of ``fault``.

    ``full`` writes half of what it was given first; ``sync`` writes it all and then fails;
    ``kill`` writes half and ends the process.
    """

    fault: str
    at: int
    times: int = 10**9
    done: int = 0

    def _due(self) -> bool:
        self.done += 1
        return self.at <= self.done < self.at + self.times

    def make_folder(self, folder: Path) -> None:
        if self._due() and self.fault != "sync":
            self._raise()
        super().make_folder(folder)

    def open(self, path: Path) -> int:
        if self._due() and self.fault != "sync":
            self._raise()
        return super().open(path)

    def put(self, handle: int, data: bytes, at: int) -> None:
        if not self._due():
            super().put(handle, data, at)
            return
        if self.fault in {"full", "kill"}:
            os.ftruncate(handle, at)
            os.pwrite(handle, data[: len(data) // 2], at)
        if self.fault == "sync":
            super().put(handle, data, at)
        self._raise()

    def _raise(self) -> None:
        if self.fault == "kill":
            raise Killed
        number = {"full": errno.ENOSPC, "read only": errno.EROFS, "not allowed": errno.EACCES,
                  "sync": errno.EIO}[self.fault]  # fmt: skip
        raise OSError(number, os.strerror(number))


def talk(dialogs: Dialogs, journal: Journal, lines, screen: Quiet | None = None):
    """A call over an open journal, as far as the lines lead; how it ended."""
    call = Call(
        dialogs, journal, opened(dialogs), ears=TypedEars(io.StringIO("\n".join(lines))),
        voice=MutedVoice(), screen=screen or Quiet(),
    )  # fmt: skip
    return call.run()


def whole_call(dialogs: Dialogs, folder: Path) -> bytes:
    """The journal of a call from its first prompt to the proven repair."""
    with Journal(folder) as journal:
        assert talk(dialogs, journal, LINES) == TRUTH
    return (folder / JOURNAL).read_bytes()


def rest_after(messages: list[Message]) -> tuple[str, ...]:
    """What the technician has still to say when the record ends here and nothing was shut."""
    heard = sum(isinstance(message, Utterance) for message in messages)
    return LINES[heard:]
