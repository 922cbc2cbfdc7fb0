"""The shapes of dialogs/procedures/*.toml and dialogs/profiles/*.toml."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from companion.quantities import Quantity

Interlock = Literal["dead", "live", "outdoor", "isolated"]
Phase = Literal[
    "arrive", "safe", "supply", "fuse", "method", "sweep", "confirm", "repair", "prove", "close"
]
NEXT, AGAIN, PARKED = "@next", "@again", "@parked"


class _Shape(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Outcome(_Shape):
    """What one kind of answer or reading leads to. Numbers are in SI of the step's quantity."""

    answer: str | None = None
    verdict: str | None = None
    at_least: float | None = None
    below: float | None = None
    over_limit: bool = False
    say: str | None = None
    go: str | None = None
    conclude: Literal["repaired", "found", "not_found", "unsafe", "handed_over"] | None = None
    decides: bool = False
    names_circuit: bool = False
    names_part: bool = False
    names: str | None = None
    proves: bool = False
    profile: str | None = None
    loses: tuple[Interlock, ...] = ()

    @model_validator(mode="after")
    def _leads_somewhere(self) -> Outcome:
        if (self.go is None) == (self.conclude is None):
            raise ValueError("an outcome has either 'go' or 'conclude'")
        return self


class Exhausted(_Shape):
    """Where a step with ``each`` goes when its list is done, by what was found on the way."""

    finding: str | None = None
    names_circuit: bool = False
    say: str | None = None
    go: str


class Step(_Shape):
    """One thing to ask."""

    phase: Phase
    power: Literal["any", "dead", "live"]
    say: str
    why: str
    caution: str | None = None
    isolated: bool = False
    safety: bool = False
    quantity: Quantity | None = None
    least: float = 0.0
    most: float = 0.0
    over_limit: bool = False
    answers: tuple[str, ...] = ()
    each: Literal["circuits", "coils"] | None = None
    judge: str | None = None
    keeps: str | None = None
    earns: Interlock | None = None
    skip: str | None = None
    outcomes: tuple[Outcome, ...] = Field(min_length=1)
    exhausted: tuple[Exhausted, ...] = ()


class Procedure(_Shape):
    """Steps by name, and the step at which each interlock is answered for."""

    id: str
    title: str
    start: str
    interlocks: dict[Interlock, str]
    steps: dict[str, Step]


class Coil(_Shape):
    """A part of a circuit that has ohms of its own."""

    name: str
    where: Literal["indoor", "outdoor"]
    ohms: tuple[float, float]
    ohms_source: str


class Circuit(_Shape):
    """What one terminal feeds; ``ohms`` is the healthy span from common to the terminal."""

    terminal: str
    function: str
    said: tuple[str, ...] = ()
    sweep: bool = True
    ohms: tuple[float, float]
    ohms_source: str
    wiring: str
    coils: tuple[Coil, ...] = ()


class Cable(_Shape):
    """The longest run of control cable to be reckoned with."""

    awg: int = Field(ge=10, le=26)
    length_ft: float = Field(gt=0, le=1000)
    temperature_c: float = Field(ge=-40, le=90)


class Profile(_Shape):
    """One kind of equipment: which terminals it has, and what they should read."""

    id: str
    title: str
    answer: str
    cable: Cable
    circuits: tuple[Circuit, ...] = Field(min_length=1)

    def circuit(self, terminal: str) -> Circuit:
        """The circuit on a terminal.

        Raises:
            KeyError: this equipment has no such terminal.
        """
        for circuit in self.circuits:
            if circuit.terminal == terminal:
                return circuit
        raise KeyError(terminal)


class Replies(_Shape):
    """dialogs/replies.toml: what is said outside the steps."""

    back_is_start: str
    corrected: str
    blocked_ohms: str
    cannot_skip: str
    digit_by_digit: str
    go_ahead: str
    held: str
    noted: str
    nothing_to_correct: str
    on_hold: str
    options: str
    out_of_range: str
    resumed: str
    say_again: str
    say_number_again: str
    say_which: str
    skipped: str
    status: str
    status_named: str
    stopped: str
    two_choices: str
    unsure: str
    went_back: str
    wrong_unit: str
    words_themselves: str
    is_that_right: str
    value: str
    not_the_same: str
