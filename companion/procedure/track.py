"""The procedure as a state machine: every edge that can ever be taken, each one guarded.

An edge into a step is open only while no interlock of that step is missing. From every
step there is one to the entry of each interlock, taken when it is.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator

from transitions import EventData, Machine

from companion.errors import ProcedureError
from companion.procedure.shapes import AGAIN, NEXT, PARKED, Interlock, Procedure
from companion.procedure.standing import Place

ENDED = "@ended"
Missing = Callable[[Place], Interlock | None]


class Track:
    """A transitions machine over a procedure.

    Args:
        procedure: a checked procedure.
        missing: tells which interlock, if any, shuts a place at this moment.
    """

    state: str

    def __init__(self, procedure: Procedure, missing: Missing) -> None:
        self._missing = missing
        self._interlocks = procedure.interlocks
        self._machine = Machine(
            model=self,
            states=[*procedure.steps, ENDED],
            initial=procedure.start,
            auto_transitions=False,
            queued=True,
            send_event=True,
            after_state_change=self._arrived,
        )
        ways: dict[str, set[str]] = {}
        for source, destination in edges(procedure):
            ways.setdefault(source, set()).add(destination)
        for source, reached in sorted(ways.items()):
            for destination in sorted(reached):
                self._machine.add_transition(
                    "settle", source, destination, conditions=self._open_to(destination)
                )
            for interlock, entry in procedure.interlocks.items():
                self._machine.add_transition(
                    "settle", source, entry, conditions=self._shut_by(reached, interlock)
                )

    def _arrived(self, event: EventData) -> None:
        self._has_moved = True

    def _open_to(self, destination: str) -> Callable[[EventData], bool]:
        def is_open(event: EventData) -> bool:
            to: Place = event.kwargs["to"]
            return to.step == destination and self._missing(to) is None

        return is_open

    def _shut_by(
        self, destinations: Collection[str], interlock: Interlock
    ) -> Callable[[EventData], bool]:
        def is_shut(event: EventData) -> bool:
            to: Place = event.kwargs["to"]
            return to.step in destinations and self._missing(to) == interlock

        return is_shut

    def move(self, to: Place) -> Place:
        """Go to a place, or to the entry of the interlock that shuts it.

        Raises:
            ProcedureError: the procedure has no such edge from here.
        """
        came_from = self.state
        self._has_moved = False  # a queued trigger returns True whether or not it moved
        self._machine.events["settle"].trigger(self, to=to)
        if not self._has_moved:
            raise ProcedureError(
                f"The procedure has no way from {came_from!r} to {to.step!r}.",
                safe="The call stands where it stood.",
                do="Say repeat, or report this with the call's record.",
            )
        return to if self.state == to.step else Place(self.state)

    def put_back(self, to: Place) -> Place:
        """Stand at an earlier place again (back, resume), or at the interlock that shuts it."""
        interlock = self._missing(to)
        place = to if interlock is None else Place(self._interlocks[interlock])
        self._machine.set_state(place.step)
        return place


def edges(procedure: Procedure) -> Iterator[tuple[str, str]]:
    """Every (step, step) that an outcome, a skip, a finished list or an interlock can join."""
    guarded = [
        n for n, s in procedure.steps.items() if s.power != "any" or s.needs or s.each == "tests"
    ]
    for name, step in procedure.steps.items():
        targets = {step.skip, *(o.go or ENDED for o in step.outcomes)}
        for target in filter(None, targets):
            if target == AGAIN:
                yield name, name
            elif target == NEXT:
                yield name, name
                yield from _onward(procedure, name)
            elif target == PARKED:
                yield from ((name, waiting) for waiting in guarded)
            else:
                for reached in (target, *passed_by(procedure, target)):
                    yield name, reached
                    yield from _onward(procedure, name, reached)


def passed_by(procedure: Procedure, name: str) -> list[str]:
    """Where a step that need not be asked sends the call, and that one if need be."""
    todo, found = [name], list[str]()
    while todo:
        step = procedure.steps.get(todo.pop())
        new = [way.go for way in step.passes if way.go not in found] if step else []
        found += new
        todo += new
    return found


def _onward(procedure: Procedure, name: str, step: str | None = None) -> Iterator[tuple[str, str]]:
    """From ``name`` to wherever the list of ``step`` (its own by default) can end up."""
    if (step or name) == procedure.hunt:
        yield name, procedure.fuse_check
    todo, seen = [step or name], set[str]()
    while todo:
        at = todo.pop()
        for entry in procedure.steps[at].exhausted if at in procedure.steps else ():
            for reached in (entry.go, *passed_by(procedure, entry.go)):
                if reached not in seen:
                    seen.add(reached)
                    todo.append(reached)
                    yield name, reached
