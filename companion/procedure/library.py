"""Loads what dialogs/ holds for the procedure room: procedures, profiles, replies."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from companion.datafiles import load
from companion.errors import DataFileError
from companion.procedure.checks import check
from companion.procedure.shapes import Procedure, Profile, Replies


@dataclass(frozen=True)
class Library:
    """Everything that a walk needs to know, and a digest to tell whether it has changed."""

    procedure: Procedure
    profiles: Mapping[str, Profile]
    replies: Replies
    digest: str


def load_library(
    dialogs: Path,
    *,
    answers: Collection[str],
    verdicts: Mapping[str, Collection[str]],
    procedure: str = "shorted_circuit",
) -> Library:
    """Read and cross-check the dialogs folder.

    Args:
        dialogs: the folder.
        answers: names of answers that the vocabulary has words for.
        verdicts: for each judge, the verdicts that it can give.
        procedure: name of the file under ``procedures/``.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    path = dialogs / "procedures" / f"{procedure}.toml"
    walked = load(path, Procedure)
    profiles: dict[str, Profile] = {}
    for file in sorted((dialogs / "profiles").glob("*.toml")):
        profile = load(file, Profile)
        if profile.answer not in answers:
            raise DataFileError(file, "answer", "expected an answer of vocabulary.toml")
        if profile.id in profiles:
            raise DataFileError(file, "id", f"expected an id of its own, got {profile.id!r}")
        profiles[profile.id] = profile
    check(walked, path, answers=answers, verdicts=verdicts, profiles=profiles)
    replies = load(dialogs / "replies.toml", Replies)
    return Library(walked, profiles, replies, digest(dialogs))


def digest(dialogs: Path) -> str:
    """SHA-256 over every TOML file of the folder, in order of name."""
    sum_ = hashlib.sha256()
    for file in sorted(dialogs.rglob("*.toml")):
        sum_.update(file.relative_to(dialogs).as_posix().encode() + b"\0")
        sum_.update(file.read_bytes() + b"\0")
    return sum_.hexdigest()
