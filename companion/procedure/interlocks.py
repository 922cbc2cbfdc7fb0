"""Which interlocks are answered for at this moment. What was energized can't be undone, so none of
this is in a standing."""

from __future__ import annotations

from companion.procedure.checks import chain
from companion.procedure.shapes import PARKED, PROTECTIONS, Interlock, Outcome, Procedure, Step


class Interlocks:
    """Answered for, or open.

    Args:
        procedure: the steps on which each interlock rests.
    """

    def __init__(self, procedure: Procedure) -> None:
        self.earned: frozenset[Interlock] = frozenset()
        self._ways = {name: chain(procedure, entry) for name, entry in procedure.interlocks.items()}

    def first_missing(self, wanted: tuple[Interlock, ...]) -> Interlock | None:
        """The one to answer for next. Protections are fitted dead."""
        for interlock in wanted:
            if interlock not in self.earned:
                fitted_live = interlock in PROTECTIONS and "dead" not in self.earned
                return "dead" if fitted_live else interlock
        return None

    def follow(self, outcome: Outcome, step: Step) -> None:
        """What an outcome loses, gains, and answers for."""
        self.earned = (self.earned - set(outcome.loses)) | set(outcome.gains)
        if outcome.go == PARKED:
            self.earned |= set(step.earns)

    def lose(self, interlock: Interlock) -> None:
        """It no longer holds."""
        self.earned -= {interlock}

    def open_again(self, interlock: Interlock) -> None:
        """It starts over; when it is one of power, everything behind it does."""
        power = interlock in {"dead", "live"}
        self.earned = frozenset() if power else self.earned - {interlock}

    def resting_on(self, step: str) -> list[Interlock]:
        """Those that a step is answered for."""
        return [name for name, steps in self._ways.items() if step in steps]
