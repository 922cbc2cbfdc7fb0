"""The dialogue on a terminal, line by line as it happens."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TextIO

from companion.messages import Message
from companion.understood import Answer, Command, NotUnderstood, Reading, Understood, Utterance


class Terminal:
    """Prints who says what. Nothing depends on colour.

    Args:
        out: where to.
        echo: whether to show what was heard; a typed line stands there already.
    """

    def __init__(self, out: TextIO | None = None, *, echo: bool = True) -> None:
        self._out = out or sys.stdout
        self._echo = echo

    def heard(self, utterance: Utterance, understood: Understood) -> None:
        """What was heard, and what was made of it."""
        if self._echo:
            self._print(f"\n  Technician:  {utterance.text}")
        self._print(f"               = {_meaning(understood)}")

    def said(self, lines: Sequence[str]) -> None:
        """What the companion says."""
        for number, line in enumerate(lines):
            self._print(f"{'  Companion:   ' if number == 0 else '               '}{line}")

    def followed(self, messages: Sequence[Message]) -> None:
        """What followed from it: here the prompts tell it all."""

    def warn(self, line: str) -> None:
        """Something that is wrong, and does not end the call."""
        self._print(f"  (!) {line}")

    def close(self) -> None:
        """Nothing to give back."""

    def _print(self, line: str) -> None:
        print(line, file=self._out, flush=True)


def _meaning(understood: Understood) -> str:
    match understood:
        case Reading():
            at = f" at {understood.at}" if understood.at else ""
            return f"{understood.quantity} {understood}{at}"
        case Answer():
            return str(understood)
        case Command(name=name, reading=reading, answer=answer):
            value = reading or answer
            return f"command: {name}" + (f" to {value}" if value else "")
        case NotUnderstood(reason=reason, candidates=candidates):
            maybe = f" ({' or '.join(str(value) for value in candidates)}?)" if candidates else ""
            return f"not taken: {reason.replace('_', ' ')}{maybe}"
