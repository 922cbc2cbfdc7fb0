"""Loads what dialogs/ holds for the procedure room: procedure, equipment, replies, repairs."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from companion.counsel import TestCard
from companion.datafiles import load
from companion.equipment import Equipment, read_all
from companion.errors import DataFileError
from companion.procedure.checks import check
from companion.procedure.shapes import Frame, Part, Procedure, Repairs, Replies

FRAME = "procedure.toml"


@dataclass(frozen=True)
class Library:
    """Everything that a walk needs to know, and a digest to tell whether it has changed."""

    procedure: Procedure
    equipment: Mapping[str, Equipment]
    replies: Replies
    repairs: Repairs
    digest: str

    def caution(self, card: TestCard) -> str | None:
        """What is said before a test of this kind, the first time."""
        if card.power == "live" and card.outdoor:
            return self.replies.caution_live_outdoors
        if card.power == "live":
            return {
                "lamp": self.replies.caution_lamp, "breaker": self.replies.caution_breaker,
            }.get(card.means)  # fmt: skip
        return self.replies.caution_lifting if "off" in card.say or "ift" in card.say else None


def load_library(
    dialogs: Path,
    *,
    answers: Collection[str],
    verdicts: Mapping[str, Collection[str]],
    procedure: str = "control_circuit",
) -> Library:
    """Read and cross-check the dialogs folder.

    Args:
        dialogs: the folder.
        answers: names of answers that the vocabulary has words for.
        verdicts: for each judge, the verdicts that it can give.
        procedure: name of the folder under ``procedures/``.

    Raises:
        DataFileError: naming the file, the line, the key and what was expected.
    """
    walked, where = load_procedure(dialogs / "procedures" / procedure)
    equipment = read_all(dialogs, answers)
    check(walked, where, answers=answers, verdicts=verdicts, equipment=equipment)
    replies = load(dialogs / "replies.toml", Replies)
    repairs = load(dialogs / "repairs.toml", Repairs)
    return Library(walked, equipment, replies, repairs, digest(dialogs))


def load_procedure(folder: Path) -> tuple[Procedure, Mapping[str, str]]:
    """A procedure from the files of its folder, and for each step the file and line it is at.

    Raises:
        DataFileError: a file is at fault, or two have a step of the same name.
    """
    frame = load(folder / FRAME, Frame)
    parts = {path: load(path, Part) for path in sorted(folder.glob("*.toml")) if path.name != FRAME}
    where: dict[str, str] = {}
    for path, part in parts.items():
        lines = path.read_text(encoding="utf-8").splitlines()
        for name in part.steps:
            if name in where:
                raise DataFileError(path, f"steps.{name}", f"expected once; also in {where[name]}")
            where[name] = f"{path}:{lines.index(f'[steps.{name}]') + 1}"
    steps = {name: step for part in parts.values() for name, step in part.steps.items()}
    return Procedure(**frame.model_dump(), steps=steps), where | {"": str(folder / FRAME)}


def digest(dialogs: Path) -> str:
    """SHA-256 over every TOML file of the folder, in order of name."""
    sum_ = hashlib.sha256()
    for file in sorted(dialogs.rglob("*.toml")):
        sum_.update(file.relative_to(dialogs).as_posix().encode() + b"\0")
        sum_.update(file.read_bytes() + b"\0")
    return sum_.hexdigest()
