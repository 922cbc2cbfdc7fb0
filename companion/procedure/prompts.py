"""Filling in what a prompt is about."""

from __future__ import annotations

from collections.abc import Mapping
from string import Formatter
from typing import Literal

from companion.messages import Answer, Prompt, Reading
from companion.procedure.shapes import Circuit, Procedure
from companion.procedure.standing import Place, Standing

Role = Literal["ask", "tell", "caution", "read_back", "ask_again", "refuse"]
UNIT_WANTED = {"resistance": "ohms", "voltage": "volts", "current": "amps"}


def circuit_at(standing: Standing, procedure: Procedure, place: Place) -> Circuit | None:
    """The circuit a place is about: the one being swept, else the one named."""
    step = procedure.steps[place.step]
    if step.each == "circuits" and place.about is not None and standing.profile is not None:
        return standing.profile.circuit(place.about)
    return standing.circuit


def prompt(
    role: Role,
    template: str,
    standing: Standing,
    procedure: Procedure,
    *,
    value: Reading | Answer | None,
    more: Mapping[str, str | Reading],
) -> Prompt:
    """A prompt with the slots that its template uses, as they stand."""
    place = standing.place
    circuit = circuit_at(standing, procedure, place)
    about_coil = procedure.steps[place.step].each == "coils" and place.about
    slots: dict[str, str | Reading] = dict(standing.facts)
    if circuit is not None:
        slots |= {"terminal": circuit.terminal, "circuit": circuit.function}
        slots |= {"wiring": circuit.wiring}
    if about_coil or standing.part:
        slots["part"] = about_coil or standing.part or ""
    if value is not None:
        slots["value"] = value if isinstance(value, Reading) else str(value)
    slots |= more
    used = {name for _, name, _, _ in Formatter().parse(template) if name is not None}
    return Prompt(role=role, template=template, slots={k: slots[k] for k in used & set(slots)})
