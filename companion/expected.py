"""What a step expects and what a verdict rests on: records that follow from the state of a call.

They pass between rooms like messages, and are in no journal.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from companion.quantities import Quantity
from companion.understood import Answer, CommandName, Reading, Record


class Expectation(Record):
    """What the current step can take. Phrase list and parser are both built from it.

    ``terminals`` maps each terminal that may be named with a value to the names
    that its profile adds ("fan" for G). ``corrects`` is the step whose value a
    correction would replace; without it a correction is for this step. ``landed``: terminals
    are named one after the other. ``read`` tells what was read at which terminal, for a
    revision. ``only``: no command but these is heard. ``choices``: the two that were offered, since
    it was one of them. ``digits``: a number was asked for digit by digit.
    """

    step: str
    quantity: Quantity | None = None
    least_si: float = 0.0
    most_si: float = 0.0
    over_limit: bool = False
    answers: tuple[str, ...] = ()
    terminals: dict[str, tuple[str, ...]] = Field(default={})
    dictation: bool = False
    landed: bool = False
    read: dict[str, Quantity] = Field(default={})
    only: tuple[CommandName, ...] = ()
    choices: tuple[Reading | Answer, ...] = ()
    digits: bool = False
    corrects: Expectation | None = None
    sure: Literal["usual", "safety"] = "usual"


class Known(Record):
    """What a verdict on a reading may rest on: healthy ohms, leads, the board's marking, cable."""

    ohms: tuple[float, float] = (0.0, float("inf"))
    leads_ohm: float = 0.0
    marked_ampere: float | None = None
    cable_awg: int = 18
    cable_ft: float = 0.0
    cable_c: float = 20.0
    transformer_va: float = 40.0
