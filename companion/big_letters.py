"""Letters of five by seven dots, drawn with half blocks: readable at arm's length."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH, HEIGHT = 6, 4
"""Columns and rows of a terminal that a letter takes, the gap after it included."""

# Seven rows of five dots each, the leftmost dot worth sixteen.
_DOTS = {
    "A": (14, 17, 17, 31, 17, 17, 17), "B": (30, 17, 17, 30, 17, 17, 30),
    "C": (14, 17, 16, 16, 16, 17, 14), "D": (28, 18, 17, 17, 17, 18, 28),
    "E": (31, 16, 16, 30, 16, 16, 31), "F": (31, 16, 16, 30, 16, 16, 16),
    "G": (14, 17, 16, 23, 17, 17, 14), "H": (17, 17, 17, 31, 17, 17, 17),
    "I": (14, 4, 4, 4, 4, 4, 14), "J": (7, 2, 2, 2, 2, 18, 12),
    "K": (17, 18, 20, 24, 20, 18, 17), "L": (16, 16, 16, 16, 16, 16, 31),
    "M": (17, 27, 21, 21, 17, 17, 17), "N": (17, 25, 25, 21, 19, 19, 17),
    "O": (14, 17, 17, 17, 17, 17, 14), "P": (30, 17, 17, 30, 16, 16, 16),
    "Q": (14, 17, 17, 17, 21, 18, 13), "R": (30, 17, 17, 30, 20, 18, 17),
    "S": (15, 16, 16, 14, 1, 1, 30), "T": (31, 4, 4, 4, 4, 4, 4),
    "U": (17, 17, 17, 17, 17, 17, 14), "V": (17, 17, 17, 17, 17, 10, 4),
    "W": (17, 17, 17, 21, 21, 27, 17), "X": (17, 17, 10, 4, 10, 17, 17),
    "Y": (17, 17, 10, 4, 4, 4, 4), "Z": (31, 1, 2, 4, 8, 16, 31),
    "0": (14, 17, 17, 17, 17, 17, 14), "1": (4, 12, 4, 4, 4, 4, 14),
    "2": (14, 17, 1, 6, 8, 16, 31), "3": (30, 1, 1, 14, 1, 1, 30),
    "4": (2, 6, 10, 18, 31, 2, 2), "5": (31, 16, 30, 1, 1, 17, 14),
    "6": (14, 16, 16, 30, 17, 17, 14), "7": (31, 1, 2, 4, 4, 8, 8),
    "8": (14, 17, 17, 14, 17, 17, 14), "9": (14, 17, 17, 15, 1, 1, 14),
    ".": (0, 0, 0, 0, 0, 12, 12), ",": (0, 0, 0, 0, 12, 4, 8),
    ":": (0, 12, 12, 0, 12, 12, 0), "?": (14, 17, 1, 6, 4, 0, 4),
    "-": (0, 0, 0, 31, 0, 0, 0), "–": (0, 0, 0, 31, 0, 0, 0),
    "/": (1, 1, 2, 4, 8, 16, 16), "%": (25, 25, 2, 4, 8, 19, 19),
    "Ω": (14, 17, 17, 17, 10, 10, 27), "'": (4, 4, 8, 0, 0, 0, 0),
    " ": (0, 0, 0, 0, 0, 0, 0),
}  # fmt: skip
# By the dots upper left (1), upper right (2), lower left (4), lower right (8).
_QUARTERS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"


def _row(letters: Sequence[tuple[int, ...]], row: int, across: int) -> str:
    """A row of a terminal: two dots down, one or two dots across, to a cell."""
    cells = []
    for dots in letters:
        upper = dots[2 * row] << 1
        lower = (dots[2 * row + 1] if 2 * row + 1 < len(dots) else 0) << 1
        for column in range(5, -1, -across):
            pairs = [(upper >> (column - n)) & 1 for n in range(across)]
            pairs += [(lower >> (column - n)) & 1 for n in range(across)]
            if across == 1:
                pairs = [pairs[0], pairs[0], pairs[1], pairs[1]]
            cells.append(_QUARTERS[sum(bit << n for n, bit in enumerate(pairs))])
    return "".join(cells).rstrip()


def big_line(text: str, across: int = 1) -> list[str]:
    """One line of text as ``HEIGHT`` rows; a sign that has no dots is a gap.

    Args:
        text: in any case; capitals are drawn.
        across: dots to a cell of the terminal, 1 or, for letters half as wide, 2.
    """
    letters = [_DOTS.get(letter, _DOTS[" "]) for letter in text.upper()]
    return [_row(letters, row, across) for row in range(HEIGHT)]


def big(text: str, columns: int, rows: int) -> list[str] | None:
    """Text in the largest letters that fit so many columns and rows; None if none do."""
    for across in (1, 2):
        width = WIDTH // across
        lines = textwrap.wrap(text, max(1, columns // width), break_long_words=False)
        taken = len(lines) * (HEIGHT + 1) - 1
        if taken > rows or any(len(line) * width > columns for line in lines):
            continue
        out: list[str] = []
        for number, line in enumerate(lines):
            out += ([""] if number else []) + big_line(line, across)
        return out
    return None
