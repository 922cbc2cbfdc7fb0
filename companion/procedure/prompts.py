"""Filling in what a prompt is about."""

from __future__ import annotations

from collections.abc import Mapping
from string import Formatter
from typing import Literal

from companion.counsel import TestCard
from companion.equipment import Terminal
from companion.messages import Prompt
from companion.procedure.shapes import SWEPT, Procedure
from companion.procedure.standing import Place, Standing
from companion.understood import Answer, Reading

Role = Literal["ask", "tell", "caution", "read_back", "ask_again", "refuse"]
UNIT_WANTED = {"resistance": "ohms", "voltage": "volts", "current": "amps"}


def circuit_at(
    standing: Standing, procedure: Procedure, place: Place, card: TestCard | None
) -> Terminal | None:
    """The circuit a place is about: the one being tested or called, else the one named."""
    terminal = place.about if procedure.steps[place.step].each in SWEPT else None
    if card is not None:
        terminal = card.terminal
    return standing.side(terminal) or standing.circuit


def prompt(
    role: Role,
    template: str,
    standing: Standing,
    procedure: Procedure,
    card: TestCard | None,
    value: Reading | Answer | None,
    more: Mapping[str, str | Reading],
) -> Prompt:
    """A prompt with the slots that its template uses, as they stand."""
    circuit = circuit_at(standing, procedure, standing.place, card)
    slots: dict[str, str | Reading] = dict(standing.facts)
    if circuit is not None:
        slots |= {"terminal": circuit.terminal, "circuit": circuit.function}
    slots |= {"part": standing.part or "circuit", "fault": standing.fault or "faulty"}
    slots |= {"likeliest": standing.likeliest or "nothing that I know"}
    slots |= {"mended": standing.mended_parts or "nothing repaired"}
    slots |= {"unfinished": "; ".join(standing.unfinished) or "nothing"}
    if value is not None:
        slots["value"] = value if isinstance(value, Reading) else str(value)
    slots |= more
    used = {name for _, name, _, _ in Formatter().parse(template) if name is not None}
    return Prompt(role=role, template=template, slots={k: slots[k] for k in used & set(slots)})
