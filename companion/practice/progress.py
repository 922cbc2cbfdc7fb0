"""How far one person has come, and which fault they are dealt next.

Five boxes (Leitner 1972, "So lernt man lernen"): a kind of fault that was found well moves up a
box, one that was not goes back to the first; box n comes up every 2 ** (n - 1) sessions. The
doubling is a usual choice; Leitner's own boxes fill by size.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from companion.diagnosis.tables import Complaint
from companion.equipment import Equipment
from companion.errors import JournalError
from companion.practice.house import COMES_AND_GOES, NOTHING_WRONG, House, faults, hidden_fault

Difficulty = Literal["easy", "fair", "hard"]
BOXES = 5
GOOD_SHARE = 2.0  # judgement: up to twice the reasoner's own minutes is well done
_EASY = frozenset({"short", "dead coil"})
_FAIR = frozenset({"short", "dead coil", "open", "chassis", "joint", "wrong rating"})


class Box(BaseModel):
    """Where one kind of fault lies, and since which session."""

    model_config = ConfigDict(extra="forbid")
    box: int = Field(ge=1, le=BOXES)
    since: int = Field(ge=0)


class Progress(BaseModel):
    """One person's file. ``boxes`` goes by complaint, part and kind of fault."""

    model_config = ConfigDict(extra="forbid")
    sessions: int = Field(default=0, ge=0)
    boxes: dict[str, Box] = {}
    breaches: dict[str, int] = {}
    minutes_to_save: float = Field(default=0.0, ge=0.0)

    def due(self, kind: str) -> bool:
        """Whether a kind is to come up again."""
        at = self.boxes.get(kind)
        return at is not None and self.sessions - at.since >= 2 ** (at.box - 1)

    def after(
        self, kind: str, *, well: bool, breaches: Mapping[str, int], to_save: float
    ) -> Progress:
        """The file after one more session."""
        at = self.boxes.get(kind)
        box = min(BOXES, (at.box if at else 0) + 1) if well else 1
        counted = dict(self.breaches)
        for rule, count in breaches.items():
            counted[rule] = counted.get(rule, 0) + count
        sessions = self.sessions + 1
        return Progress(
            sessions=sessions,
            boxes={**self.boxes, kind: Box(box=box, since=sessions)},
            breaches=counted,
            minutes_to_save=self.minutes_to_save + max(0.0, to_save),
        )


def load_progress(path: Path) -> Progress:
    """A person's file; a new one where there is none.

    Raises:
        JournalError: it can't be read, or is none.
    """
    try:
        return Progress.model_validate_json(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Progress()
    except (OSError, ValidationError) as error:
        raise JournalError(
            f"{path} is no record of practice that can be read: {error}",
            safe="It was not changed.",
            do="Mend it, or move it away to begin anew.",
        ) from error


def save_progress(path: Path, progress: Progress) -> None:
    """Write a person's file, whole or not at all.

    Raises:
        JournalError: it can't be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_suffix(".new")
        beside.write_text(progress.model_dump_json(indent=1), encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise JournalError(
            f"{path} can't be written: {error.strerror}.",
            safe="What was on record before is as it was.",
            do="Make room, or name another folder.",
        ) from error


def kinds(
    equipment: Equipment, complaint: Complaint, difficulty: Difficulty
) -> dict[str, list[str]]:
    """Faults that an apprentice may be dealt, by their kind ("opens: outdoor cable, short")."""
    wanted = {"easy": _EASY, "fair": _FAIR}.get(difficulty)
    found: dict[str, list[str]] = {}
    for name, fault in faults(equipment, complaint).items():
        if not fault.parts or name.startswith(NOTHING_WRONG):
            continue
        single = len(fault.parts) == 1
        if wanted is not None and not (single and fault.kinds <= wanted):
            continue
        what = f"{'-'.join(sorted(fault.part_kinds))}, {'-'.join(sorted(fault.kinds))}"
        kind = f"{complaint}: {what}" if single else f"{complaint}: two faults"
        found.setdefault(kind, []).append(name)
        if difficulty == "hard" and single and fault.kinds == {"short"}:
            found.setdefault(f"{complaint}: comes and goes", []).append(name + COMES_AND_GOES)
    return found


def deal(
    equipment: Equipment,
    progress: Progress,
    difficulty: Difficulty,
    complaint: Complaint | None = None,
) -> tuple[str, House]:
    """A kind of fault and a house that has it: weak spots first, then what was never met.

    The same file deals the same house.
    """
    rng = random.Random(f"{progress.sessions} {equipment.id} {difficulty}")
    complaints: tuple[Complaint, ...] = ("opens", "nothing") if complaint is None else (complaint,)
    if difficulty == "easy" and complaint is None:
        complaints = ("opens",)
    of = {(kind, c): names for c in complaints
          for kind, names in kinds(equipment, c, difficulty).items()}  # fmt: skip
    order = list(of)
    rng.shuffle(order)

    def rank(key: tuple[str, Complaint]) -> tuple[int, int]:
        at = progress.boxes.get(key[0])
        if progress.due(key[0]):
            return 0, at.box if at else 0
        return (1, 0) if at is None else (2, at.box)

    kind, chosen = min(order, key=rank)
    return kind, house_of(equipment, chosen, rng.choice(of[kind, chosen]), progress.sessions)


def house_of(equipment: Equipment, complaint: Complaint, fault: str, seed: int) -> House:
    """A house with a named fault; one that comes and goes is there half of the time.

    Raises:
        KeyError: the equipment can't have it.
    """
    hidden = hidden_fault(equipment, complaint, fault.removesuffix(COMES_AND_GOES))
    return House(equipment, complaint, hidden, seed, 0.5 if fault.endswith(COMES_AND_GOES) else 1.0)
