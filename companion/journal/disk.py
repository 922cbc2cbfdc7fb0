"""The few things that a record asks of a disk. Tests put a failing one in its place."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from companion.messages import Trouble


class Disk:
    """A file that grows at its end, and is on the disk when ``put`` returns.

    The policy: every ``put`` writes and then waits for fsync of the file; making a file waits
    for fsync of its folder. After a failed fsync the same bytes are written again, since the
    system may have marked them as written.
    """

    def make_folder(self, folder: Path) -> None:
        """The folder, and those above it."""
        folder.mkdir(parents=True, exist_ok=True)

    def open(self, path: Path) -> int:
        """The file, made if need be."""
        fresh = not path.exists()
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
        if fresh:
            self.sync_folder(path.parent)
        return handle

    def contents(self, handle: int) -> bytes:
        """Everything in it."""
        os.lseek(handle, 0, os.SEEK_SET)
        read = b""
        while more := os.read(handle, 1 << 20):
            read += more
        return read

    def put(self, handle: int, data: bytes, at: int) -> None:
        """End the file at ``at``, and go on from there with ``data``."""
        os.ftruncate(handle, at)
        os.lseek(handle, at, os.SEEK_SET)
        while data:
            data = data[os.write(handle, data) :]
        os.fsync(handle)

    def sync(self, path: Path) -> None:
        """A file that someone else wrote is on the disk when this returns."""
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    def sync_folder(self, folder: Path) -> None:
        """A file's name is on the disk, where the system can say so of a folder."""
        if os.name == "posix":
            self.sync(folder)

    def close(self, handle: int) -> None:
        """Let go of it."""
        os.close(handle)


_CAUSES = {
    errno.ENOSPC: ("disk_full", "the disk is full"),
    errno.EDQUOT: ("disk_full", "the disk is full"),
    errno.EFBIG: ("disk_full", "the file may not grow"),
    errno.EROFS: ("read_only", "the disk is read only"),
    errno.EACCES: ("no_permission", "writing is not allowed"),
    errno.EPERM: ("no_permission", "writing is not allowed"),
}


def trouble(error: OSError) -> Trouble:
    """What a failure of the disk is called, and what is said of it."""
    cause, why = _CAUSES.get(error.errno or 0, ("disk", "the disk fails"))
    told = f"I can't save: {why}. I go on, and keep the record in memory."
    return Trouble.model_validate({"cause": cause, "told": told})
