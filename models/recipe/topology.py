"""Phones, their output classes and transition identifiers, shared by training, acoustic model and
graph.

Each phone has one emitting state with two classes: one for its first frame, one for every further
frame. Phones are numbered apart by their place in a word (beginning, end, inside, alone), because
the recogniser finds word boundaries that way; the four share their classes.
"""

from __future__ import annotations

from collections.abc import Sequence

from models.recipe.lexicon import PHONES

SILENCE = "SIL"
BASE = (SILENCE, "SPN", *PHONES)
"""Silence, an unused class for spoken noise (kept so that earlier weights still fit), and the
sounds of English."""
CLASSES = 2 * len(BASE)
"""Outputs of the network: first-frame and further-frame class of each base phone."""

NAMES = ("<eps>", SILENCE, "SPN_S", *(f"{phone}_{place}" for phone in PHONES for place in "BEIS"))
"""Phones by number; number 0 is epsilon."""
COUNT = len(NAMES) - 1
_NUMBER = {name: number for number, name in enumerate(NAMES)}
_PLACES = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}


def base_index(number: int) -> int:
    """Index in BASE of a numbered phone."""
    return BASE.index(NAMES[number].split("_")[0])


def first_class(base: int) -> int:
    """Class of a base phone's first frame."""
    return 2 * base


def further_class(base: int) -> int:
    """Class of a base phone's frames after the first."""
    return 2 * base + 1


def first_transition(number: int) -> int:
    """Transition identifier that enters a phone and consumes its first frame."""
    return 2 * number


def further_transition(number: int) -> int:
    """Transition identifier of a phone's self-loop."""
    return 2 * number - 1


def in_word(sounds: Sequence[str]) -> list[int]:
    """Numbers of a word's phones, marked by their place."""
    last = len(sounds) - 1
    if last == 0:
        return [_NUMBER[f"{sounds[0]}_S"]]
    return [
        _NUMBER[f"{sound}_{'B' if at == 0 else 'E' if at == last else 'I'}"]
        for at, sound in enumerate(sounds)
    ]


def phone_table() -> str:
    """Contents of graph/phones.txt."""
    return "".join(f"{name} {number}\n" for number, name in enumerate(NAMES))


def boundary_table() -> str:
    """Contents of graph/phones/word_boundary.int: each phone's place in a word."""
    kinds = ("nonword" if name == SILENCE else _PLACES[name[-1]] for name in NAMES[1:])
    return "".join(f"{number} {kind}\n" for number, kind in enumerate(kinds, 1))
