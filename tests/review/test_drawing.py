"""The circuit as drawn: every test where it was made, and nothing covered."""

from __future__ import annotations

from itertools import combinations
from math import dist

import pytest

from companion.datafiles import folder
from companion.review.drawing import BOARD, WIDTH, draw
from companion.review.facts import Counted, Facts
from companion.review.installation import installations
from companion.understood import Reading

KNOWN = {known.id: known for known in installations(folder("dialogs"))}
FURNACE = KNOWN["cooling-gas-furnace"]
RADIUS = 10.0


def counted(*tests: str | None) -> Facts:
    reading = Reading(quantity="resistance", value_si=12.0, said="twelve")
    values = [
        Counted(seq, "", "hunt", "hunt", about, reading, "twelve", None, "said_back", None, None)
        for seq, about in enumerate(tests)
    ]
    return Facts(counted=values)


@pytest.mark.parametrize("known", KNOWN.values(), ids=KNOWN)
@pytest.mark.parametrize("at_board", [0, 5, 12, 30])
def test_no_flag_covers_a_terminal_or_another_flag(known, at_board):
    tests = [None] * at_board
    tests += [f"ohms {circuit.terminal}-C at the board" for circuit in known.circuits] * 4
    tests += [f"ohms, {circuit.load.name} alone" for circuit in known.circuits if circuit.load]
    drawing = draw(known, counted(*tests))
    assert len(drawing.flags) == len(tests) - max(0, at_board - 20)  # the table has them all
    for one, other in combinations(drawing.flags, 2):
        assert dist((one.x, one.y), (other.x, other.y)) >= 2 * RADIUS
    letters = [(BOARD - 28.0, wire.y) for wire in drawing.wires]
    for flag in drawing.flags:
        assert RADIUS <= flag.x <= WIDTH - RADIUS
        assert RADIUS <= flag.y <= drawing.height - RADIUS
        assert all(dist((flag.x, flag.y), letter) > RADIUS + 8 for letter in letters), flag


@pytest.mark.parametrize(
    ("test", "place"),
    [
        ("ohms Y-C at the outdoor splice, cable side", "outdoor splice"),
        ("ohms, contactor coil alone", "contactor coil"),
        ("look along the outdoor cable", "outdoor cable"),
    ],
)
def test_a_test_stands_at_its_part(test, place):
    drawing = draw(FURNACE, counted(test))
    spot = next(s for wire in drawing.wires for s in wire.spots if s.name == place)
    assert dist((drawing.flags[0].x, drawing.flags[0].y), (spot.x, spot.y)) < 40


def test_a_test_at_a_terminal_stands_beside_it():
    drawing = draw(FURNACE, counted("ohms W-C at the board"))
    wire = next(wire for wire in drawing.wires if wire.terminal == "W")
    assert dist((drawing.flags[0].x, drawing.flags[0].y), (BOARD, wire.y)) < 45
