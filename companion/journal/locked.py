"""Calls at rest that only the holder of a key can read: the folder as one age file.

age (age-encryption.org/v1) by pyrage: X25519 recipients, or a passphrase.
"""

from __future__ import annotations

import io
import os
import shutil
import tarfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from companion.errors import CallInUse, JournalError
from companion.journal.disk import Disk


def new_key(file: Path) -> str:
    """Make a key in a file that only its owner can read; what to lock for, to be given away.

    Raises:
        JournalError: the file is there already, or can't be written.
    """
    identity = _age().x25519.Identity.generate()
    try:
        handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as error:
        raise _refused(f"The key can't be written to {file}: {error.strerror}.") from error
    with os.fdopen(handle, "w") as out:
        out.write(f"{identity}\n")
    return str(identity.to_public())


def lock(folder: Path, recipients: Sequence[str] = (), passphrase: str = "") -> Path:
    """The call as ``<folder>.age`` beside its folder, whose files are then deleted, not wiped.

    Raises:
        CallInUse: the call is still going on.
        JournalError: a recipient is none, or the file can't be written.
    """
    age = _age()
    holder = FileLock(folder / "call.lock")
    try:
        holder.acquire(timeout=0)
    except Timeout as error:
        raise CallInUse(
            f"The call in {folder} is open in another process.",
            safe="It stays as it is.", do="End it there first.",
        ) from error  # fmt: skip
    packed = io.BytesIO()
    with tarfile.open(fileobj=packed, mode="w") as tar:
        tar.add(
            folder, arcname=folder.name, filter=lambda i: None if i.name.endswith(".lock") else i
        )
    try:
        if passphrase:
            sealed = age.passphrase.encrypt(packed.getvalue(), passphrase)
        else:
            keys = [age.x25519.Recipient.from_str(text) for text in recipients]
            sealed = age.encrypt(packed.getvalue(), keys)
    except (age.RecipientError, age.EncryptError) as error:
        holder.release()
        raise _refused(f"{', '.join(recipients)}: {error}.") from error
    out = folder.with_name(folder.name + ".age")
    disk = Disk()
    try:
        handle = disk.open(out)
        try:
            disk.put(handle, sealed, 0)
        finally:
            disk.close(handle)
    except OSError as error:
        holder.release()
        out.unlink(missing_ok=True)
        raise _refused(f"{out} can't be written: {error.strerror}.") from error
    holder.release()
    shutil.rmtree(folder)
    return out


def unlock(file: Path, identity: str = "", passphrase: str = "") -> Path:
    """The call's folder again, beside the file, which stays.

    Raises:
        JournalError: not the key, not such a file, or there is a folder of that name.
    """
    age = _age()
    try:
        if passphrase:
            data = age.passphrase.decrypt(file.read_bytes(), passphrase)
        else:
            data = age.decrypt(file.read_bytes(), [age.x25519.Identity.from_str(identity.strip())])
    except (age.DecryptError, age.IdentityError, OSError) as error:
        raise _refused(f"{file} can't be unlocked: {error}.") from error
    folder = file.with_suffix("")
    if folder.exists():
        raise _refused(f"{folder} is there already.")
    folder.mkdir()
    with tarfile.open(fileobj=io.BytesIO(data)) as tar:
        for member in tar.getmembers():
            content = tar.extractfile(member)  # a call's folder is flat: no path is followed
            if content is not None:
                (folder / Path(member.name).name).write_bytes(content.read())
    return folder


def _age() -> Any:
    try:
        import pyrage
    except ImportError as error:
        raise JournalError(
            "Locking needs pyrage, which is not installed.",
            safe="The record is as it was.", do="Install companion[record].",
        ) from error  # fmt: skip
    return pyrage


def _refused(what: str) -> JournalError:
    return JournalError(what, safe="The record is as it was.", do="Check the key and the place.")
