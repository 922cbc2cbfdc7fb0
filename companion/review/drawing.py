"""The circuit as drawn on the page: board at the left, each wire to its load, common below.

Only geometry and marks are worked out here; the template draws them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from companion.review.facts import Counted, Facts
from companion.review.installation import Circuit, Installation
from companion.understood import Reading

WIDTH = 720
TOP = 64
ROW = 74
BOARD = 118
LEFT = 150
RIGHT = 560
_RAIL = 690
_COLUMNS_AT_BOARD, _FLAG = 4, 22
_ROOM_AT_BOARD, _ROWS_AT_BOARD = 3, 5  # rows of flags under the last terminal; at most
_LOWER = 15  # every other name, so that neighbours do not run into each other


@dataclass(frozen=True)
class Spot:
    """A place on a wire: ``kind`` is cable, joint, or load; its name stands at ``name_y``."""

    name: str
    kind: str
    x: float
    y: float
    name_y: float
    fault: bool = False


@dataclass(frozen=True)
class Flag:
    """Where a test was made; ``number`` is that of the table of values."""

    number: int
    x: float
    y: float


@dataclass(frozen=True)
class Wire:
    """One row."""

    terminal: str
    function: str
    y: float
    spots: tuple[Spot, ...]
    fault: bool


@dataclass(frozen=True)
class Drawing:
    """All of it, in the units of the SVG's view box."""

    wires: tuple[Wire, ...]
    flags: tuple[Flag, ...]
    height: float
    words: str
    width: int = WIDTH
    board: int = BOARD
    rail: int = _RAIL
    r_fault: bool = False


def draw(installation: Installation, facts: Facts) -> Drawing:
    """Lay out an installation with the fault and the tests of a call."""
    ended = facts.ended
    circuit = ended.circuit if ended else None
    part = ended.part if ended else None
    wires = tuple(
        _wire(c, TOP + ROW * row, part if c.terminal == circuit else None, c.terminal == circuit)
        for row, c in enumerate(installation.circuits)
    )
    height = TOP + ROW * len(wires) + 20
    flags = _flags(wires, facts.counted, height)
    height += _FLAG * max(0, _rows_at_board(flags, height) - _ROOM_AT_BOARD)
    return Drawing(wires, flags, height, _words(installation, facts), r_fault=circuit == "R")


def _wire(circuit: Circuit, y: float, part: str | None, faulty: bool) -> Wire:
    cable = f"{circuit.cable or 'thermostat'} cable"
    names = [(cable, "cable"), *((joint.name, "joint") for joint in circuit.joints)]
    step = (RIGHT - LEFT) / (len(names) + 1)
    spots = [
        Spot(
            name, kind, LEFT + step * (number + 0.8), y, y + 26 + _LOWER * (number % 2),
            _same(name, part),
        )
        for number, (name, kind) in enumerate(names)
    ]  # fmt: skip
    if circuit.load is not None:
        load = circuit.load.name
        spots.append(Spot(load, "load", RIGHT + 40, y, y + 26, _same(load, part)))
    if faulty and part is not None and not any(spot.fault for spot in spots):
        spots[0] = replace(spots[0], fault=True)
    return Wire(circuit.terminal, circuit.function, y, tuple(spots), faulty)


def _same(name: str, part: str | None) -> bool:
    return part is not None and name.casefold() == part.casefold()


def _flags(wires: Sequence[Wire], counted: Sequence[Counted], height: float) -> tuple[Flag, ...]:
    """A flag for every reading, and for what lamp and breaker did; side by side where they meet."""
    at_board, along = 0, dict[float, list[float]]()
    flags = []
    for number, value in enumerate(counted, start=1):
        if not isinstance(value.value, Reading) and value.about is None:
            continue
        x, y = _place(wires, value)
        if x == 0.0:  # at the board: in rows inside its box, under its terminals
            row, column = divmod(at_board, _COLUMNS_AT_BOARD)
            at_board += 1
            if row < _ROWS_AT_BOARD:
                y = _first_row(height) + _FLAG * row
                flags.append(Flag(number, 27 + _FLAG * column, y))
            continue
        while any(abs(x - taken) < _FLAG for taken in along.setdefault(y, [])):
            x += 1
        along[y].append(x)
        flags.append(Flag(number, x, y - 27))
    return tuple(flags)


def _first_row(height: float) -> float:
    return height - 24 - _FLAG * (_ROOM_AT_BOARD - 1)


def _rows_at_board(flags: Sequence[Flag], height: float) -> int:
    low = max((flag.y for flag in flags if flag.x < BOARD), default=0.0)
    return max(0, round((low - _first_row(height)) / _FLAG) + 1)


def _place(wires: Sequence[Wire], value: Counted) -> tuple[float, float]:
    """By the name of the test: the part in it, else its terminal, else somewhere at the board."""
    about = (value.about or "").casefold()
    own = [wire for wire in wires if re.search(rf"\b{wire.terminal.casefold()}\b", about)]
    for wire in own or wires:
        for spot in wire.spots:
            if spot.name.casefold() in about:
                return spot.x - 10, wire.y
    if not own:
        return 0.0, 0.0
    by_name = {spot.name: spot for spot in own[0].spots}
    at_the_thermostat = by_name.get("thermostat cable") if "at the thermostat" in about else None
    return (at_the_thermostat.x - 10 if at_the_thermostat else BOARD + 28.0), own[0].y


def _words(installation: Installation, facts: Facts) -> str:
    """The drawing for those who don't see it."""
    rows = []
    for circuit in installation.circuits:
        way = [f"{circuit.cable or 'thermostat'} cable", *(j.name for j in circuit.joints)]
        way += [circuit.load.name] if circuit.load else []
        rows.append(f"{circuit.terminal}: {', '.join(way)}.")
    ended = facts.ended
    fault = "No fault was named."
    if ended is not None and ended.circuit:
        fault = f"The fault is on {ended.circuit}, {ended.part or 'part not named'}."
    return f"From the board, by terminal. {' '.join(rows)} {fault}"
