"""Whether any step was opened that what was stated does not allow, judged from outside.

It knows what was really stated, in order, and nothing of how the procedure keeps its interlocks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from companion.messages import Message, Taken, Withdrawn
from companion.procedure import Walk
from companion.procedure.shapes import Procedure
from companion.understood import Command, Reading, Understood

POWER_STEPS = frozenset({"power_off", "meter_proven", "zero_volts", "clear"})
DEAD = ["off", "proven", "zero"]
LIVE = ["clear"]
FED_VOLT = (18.0, 30.0)  # of a board that is fed through a whole fuse


class Watch:
    """Follows one call.

    Args:
        procedure: what its steps say that they need.
    """

    def __init__(self, procedure: Procedure) -> None:
        self._steps, self._hunt = procedure.steps, procedure.hunt
        self._held = False
        self._forget_all()

    def _forget_all(self) -> None:
        self._stated: list[str] = []
        self._fitted: str | None = None
        self._base_off = self._no_fuse = self._outdoor = self._zeroed = self._steady = False

    def see(self, understood: Understood, after: Sequence[Message], walk: Walk) -> str | None:
        """Take one turn; what is asked now against what was stated, if anything."""
        revised = any(isinstance(m, Withdrawn) and m.step == self._hunt for m in after)
        for message in after:
            if isinstance(message, Taken) and not revised:
                self._note(message)
            elif isinstance(message, Withdrawn):
                self._forget(message.step)
        if isinstance(understood, Command) and understood.name in {"stop", "hand_over"}:
            self._forget_all()
            self._held = understood.name == "stop"
        elif isinstance(understood, Command) and understood.name in {"resume", "work"}:
            self._held = False
        if walk.concluded is not None or self._held:
            return None
        missing = next(self._missing(walk), None)
        return None if missing is None else f"{walk.standing.place.step}: {missing}"

    def _forget(self, step: str) -> None:
        if step in POWER_STEPS:
            self._forget_all()
        self._base_off &= step != "base"
        self._no_fuse &= step not in {"base", "fuse_out"}
        self._outdoor &= step != "capacitor"
        self._zeroed &= step != "leads"
        self._steady &= step != "footing"
        if step in {"lamp_fit", "breaker_rating", "breaker_fit", "fuse_ready"}:
            self._fitted = None

    def _note(self, taken: Taken) -> None:
        value = taken.value.value_si if isinstance(taken.value, Reading) else None
        match taken.step:
            case "power_off":
                self._stated = ["off"]
            case "meter_proven" if self._stated == ["off"]:
                self._stated = ["off", "proven"]
            case "zero_volts" if self._stated == ["off", "proven"]:
                zero = value is not None and value < 1.0 and taken.read_back == "said_twice"
                self._stated = list(DEAD) if zero else []
            case "clear":
                self._stated = list(LIVE)
                self._base_off = self._no_fuse = self._outdoor = False
            case "base":
                self._base_off = self._no_fuse = True
                self._fitted = None
            case "fuse_out":
                self._no_fuse, self._fitted = True, None
            case "lamp_fit" | "breaker_fit" | "fuse_ready":
                self._base_off = self._no_fuse = False
                self._fitted = {"lamp_fit": "lamp", "breaker_fit": "breaker"}.get(
                    taken.step, "fuse"
                )
            case "new_fuse" if taken.read_back != "confirmed":
                self._base_off = self._no_fuse = False
                self._fitted = None
            case "supply" | "supply_again" if value is not None:
                if FED_VOLT[0] <= value <= FED_VOLT[1]:
                    self._fitted = "fuse"
            case "capacitor":
                self._outdoor = True
            case "leads":
                self._zeroed = value is not None and value < 1.0
            case "footing":
                self._steady = True
        hunted = taken.step == self._hunt
        if taken.step == "recheck" or (hunted and "base on" in str(taken.about)):
            self._base_off = False

    def _missing(self, walk: Walk) -> Iterator[str]:
        """Everything that what is asked now lacks."""
        step, card = walk.step, walk.card
        needs = set(self._steps[walk.standing.place.step].needs)
        if step.power == "dead" and self._stated != DEAD:
            yield "asked dead, and not verified dead"
        if step.power == "live" and self._stated != LIVE:
            yield "energized with nobody told to stand clear"
        if step.quantity == "resistance" and step.power != "dead":
            yield "ohms where power may be on"
        if "isolated" in needs and not self._base_off:
            yield "ohms at the board with the thermostat on"
        if "unfused" in needs and not self._no_fuse:
            yield "ohms at the board with the fuse in"
        if "zeroed" in needs and not self._zeroed:
            yield "ohms with leads that were not read"
        if "lamp" in needs and self._fitted != "lamp":
            yield "a lamp's test without the lamp"
        if card is None:
            return
        if card.quantity == "resistance":
            if not self._zeroed:
                yield "ohms with leads that were not read"
            if not (self._no_fuse if card.base_on else self._base_off):
                yield "ohms with the fuse in"
        if card.outdoor and card.power != "live" and not (self._outdoor and self._stated == DEAD):
            yield "in an outdoor cabinet that is live, or with a capacitor that may be charged"
        if card.power == "live" and self._fitted is None:
            yield "energized with nothing in the fuse's place"
        if card.means in {"lamp", "breaker"} and self._fitted != card.means:
            yield f"a {card.means}'s test without it"
        if card.where == "roof" and not self._steady:
            yield "up on the roof without a footing"
