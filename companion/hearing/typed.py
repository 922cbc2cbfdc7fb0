"""Ears for a keyboard, a pipe or a script: one line is one utterance."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from companion.hearing.ears import Meaning, Settled, never
from companion.understood import HeardWord, Utterance

# A sign before a number is part of the number: "-0.5" must not turn into 0.5.
_MINUS = re.compile(r"(?<![\w.,])[-−](?=\.?\d)")
_JOINTS = re.compile(r"[-‐‑–—−/\s]+")
_EDGES = ".,;:!?\"'`‘’“”()[]{}…"
# ".5" keeps its point: it must not turn into 5.
_LEADING = re.compile(rf"^(?:(?!\.\d)[{re.escape(_EDGES)}])+")


def tidy(line: str) -> list[str]:
    """The words of a typed line: lower case, punctuation off, hyphens and slashes as spaces.

    What might change a value stays in place for the parser to take or refuse:
    points and commas inside a number, signs, and symbols such as ``<`` or ``%``.
    """
    spaced = _JOINTS.sub(" ", _MINUS.sub("minus ", line.replace("’", "'")))
    words = []
    for token in spaced.lower().split():
        while (shorter := _LEADING.sub("", token.rstrip(_EDGES))) != token:
            token = shorter
        if token:
            words.append(token)
    return words


class TypedEars:
    """Reads lines from an open text stream, such as standard input."""

    def __init__(self, stream: Iterable[str]) -> None:
        self._lines = iter(stream)

    def listen(
        self, phrases: Sequence[str], settled: Settled = never, meaning: Meaning = never
    ) -> Utterance | None:
        """The next line that has words in it; nothing else is needed to read it."""
        for line in self._lines:
            words = tidy(line)
            if words:
                return Utterance(
                    text=" ".join(words),
                    source="typed",
                    words=tuple(HeardWord(text=word) for word in words),
                )
        return None

    def close(self) -> None:
        """Nothing to let go: whoever opened the stream closes it."""
