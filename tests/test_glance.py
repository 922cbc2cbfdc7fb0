"""The screen at a glance, at several sizes of terminal."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from companion.big_letters import HEIGHT, big, big_line
from companion.glance import Glance
from companion.messages import Concluded, Suspect, Suspicion
from companion.understood import Command, NotUnderstood, Reading, Utterance

SUSPICION = Suspicion(
    suspects=tuple(
        Suspect(part=part, fault="short to common", terminal="Y", chance=chance)
        for part, chance in (("contactor coil", 0.7), ("cable", 0.2), ("splice", 0.06), ("x", 0.01))
    )
)
POINT_NINE = Reading(quantity="resistance", value_si=0.9, at="Y")


def shown(glance: Glance) -> list[str]:
    glance.console.file = out = io.StringIO()
    glance.console.print(glance)
    return out.getvalue().splitlines()


def glance(columns: int, rows: int) -> Glance:
    return Glance(Console(width=columns, height=rows, file=io.StringIO()))


def heard(text: str = "point nine") -> Utterance:
    return Utterance(text=text, source="microphone")


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (100, 30), (160, 50)])
def test_instruction_and_reading_stand_there_in_large_letters(columns: int, rows: int) -> None:
    screen = glance(columns, rows)
    screen.heard(heard(), POINT_NINE)
    screen.followed([SUSPICION])
    screen.said(["0.9 Ω.", "Contactor wires off. Ohms across its coil."])
    lines = shown(screen)
    assert len(lines) < rows
    assert max(map(len, lines)) <= columns
    text = "\n".join(lines)
    assert "LISTENING" in lines[0]
    assert big_line("COIL.", 1)[0] in text or big_line("COIL.", 2)[0] in text
    assert big_line("0.9 Ω at Y")[1] in text
    assert "70%" in text
    assert "contactor coil" in text
    assert "x, short" not in text


def test_the_state_is_told_in_words() -> None:
    screen = glance(100, 30)
    screen.heard(heard("stop"), Command(name="stop"))
    screen.said(["Stopped."])
    assert "ON HOLD" in shown(screen)[0]
    screen.heard(heard("resume"), Command(name="resume"))
    assert "THINKING" in shown(screen)[0]
    screen.said(["Going on."])
    assert "LISTENING" in shown(screen)[0]
    screen.warn("The microphone is gone. Holding. Plug it in again.")
    assert "NO MICROPHONE" in shown(screen)[0]
    screen.warn("The microphone is back. Go on.")
    assert "LISTENING" in shown(screen)[0]
    screen.heard(heard("umbrella"), NotUnderstood(heard="umbrella", reason="unknown_words"))
    assert "Not taken: umbrella" in "\n".join(shown(screen))
    screen.followed([Concluded(outcome="repaired")])
    assert "CALL CLOSED" in shown(screen)[0]


def test_a_small_terminal_shows_it_all_the_same() -> None:
    screen = glance(40, 12)
    screen.heard(heard(), POINT_NINE)
    screen.said(["0.9 Ω.", "Contactor wires off. Ohms across its coil, both leads."])
    text = "\n".join(shown(screen))
    assert "Contactor wires off." in text


@given(st.text("ABCXYZ0123456789 .?", min_size=1, max_size=60), st.integers(20, 200))
def test_big_letters_fit_or_are_not_given(text: str, columns: int) -> None:
    rows = big(text, columns, 20)
    if rows is not None:
        assert len(rows) <= 20
        assert all(len(row) <= columns for row in rows)


def test_every_letter_is_its_own() -> None:
    letters = "ABCDEFGHIJKLMNPQRSTUVWXYZ0123456789.?Ω%"  # O is 0
    assert len({tuple(big_line(letter)) for letter in letters}) == len(letters)
    assert all(len(big_line(letter, across)) == HEIGHT for letter in letters for across in (1, 2))
