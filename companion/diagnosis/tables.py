"""Priors, efforts and trust: the shapes of three files of ``dialogs/circuit``."""

from __future__ import annotations

from functools import cache
from typing import Literal

from pydantic import Field

from companion.circuit.tables import place
from companion.counsel import Complaint as Complaint
from companion.datafiles import Positive, Shape, Share, Span, load

FaultKind = Literal[
    "short", "chassis", "leak", "open", "cross", "joint", "dead coil", "turns",
    "overload", "wrong rating", "history", "swapped", "comes and goes",
]  # fmt: skip
PartKind = Literal[
    "outdoor cable", "indoor cable", "thermostat cable", "thermostat", "splice", "switch",
    "load outdoors", "load indoors", "wires", "board", "transformer", "accessory", "fuse",
    "none now",
]  # fmt: skip


class Fault(Shape):
    """Relative weight of one kind of fault on one kind of part, by complaint."""

    part: PartKind
    kind: FaultKind
    opens: float = Field(ge=0.0)
    nothing: float = Field(ge=0.0)


class FaultOhms(Shape):
    """What a fault itself measures."""

    short: Span
    chassis: Span
    cross: Span
    leak: Span
    joint: Span
    dead_coil: Span
    turns_share: Span
    accessory_va: Span
    source: str


class History(Shape):
    """Something known of the site that makes some parts likelier."""

    name: str
    factor: Positive
    parts: tuple[PartKind, ...]
    source: str


class Priors(Shape):
    """``priors.toml``."""

    source: str
    pair_factor: Share
    pair_least: Share
    something_else: Share
    fault: tuple[Fault, ...] = Field(min_length=1)
    ohms: FaultOhms
    history: tuple[History, ...] = ()


class Minutes(Shape):
    """What is done, in minutes."""

    ohms: Positive
    volts: Positive
    amperes: Positive
    breaker: Positive
    lamp: Positive
    lift_at_board: Positive
    lift_at_far_end: Positive
    look: Positive
    base_on_or_off: Positive
    make_dead: Positive
    make_live: Positive
    repeat_reading: Positive
    wiggle: Positive
    run_on: Positive


class Place(Shape):
    """Somewhere to stand: minutes from the board, and a factor for its hazard."""

    name: str
    way_minutes: float = Field(ge=0.0)
    hazard: float = Field(ge=1.0)


class Effort(Shape):
    """``effort.toml``."""

    source: str
    minutes: Minutes
    place: tuple[Place, ...] = Field(min_length=1)
    wrong: dict[PartKind, Positive]

    def at(self, name: str) -> Place:
        """A place by name.

        Raises:
            KeyError: there is no such place.
        """
        for entry in self.place:
            if entry.name == name:
                return entry
        raise KeyError(name)


class Misheard(Shape):
    """Share of readings and words that come out as something else, and of these the share that
    still stands after a read-back that was said to be right."""

    rate: Share
    stands: Share
    source: str


class WrongWay(Shape):
    """Share of observations that are wrong although heard right."""

    trips: Share
    lamp: Share
    runs: Share
    looks: Share
    label: Share
    source: str


class Fitted(Shape):
    """How often somebody fitted a fuse below the marking where something else is at fault."""

    under_marking: Share
    source: str


class Lamp(Shape):
    """The series lamp, and the voltages across it that look dim and bright."""

    hot_ohm: Positive
    dim_from_volt: Positive
    bright_from_volt: Positive
    spread_volt: Positive
    source: str


class Spread(Shape):
    """Relative standard uncertainties of the model itself."""

    supply_relative: Share
    discrepancy_relative: Share
    source: str


class DamageSeen(Shape):
    """Share of faults that a good look finds."""

    outdoor_cable: Share
    thermostat_cable: Share
    splice: Share
    switch_lead: Share
    source: str


class Provoked(Shape):
    """Chance that a fault that comes and goes shows while it is provoked."""

    wiggled: Share
    running: Share
    source: str


class Likelihoods(Shape):
    """``likelihoods.toml``."""

    misheard: Misheard
    wrong_way: WrongWay
    fitted: Fitted
    lamp: Lamp
    spread: Spread
    damage_seen: DamageSeen
    provoked: Provoked


@cache
def priors() -> Priors:
    """The shipped priors."""
    return load(place("priors.toml"), Priors)


@cache
def effort() -> Effort:
    """The shipped efforts."""
    return load(place("effort.toml"), Effort)


@cache
def likelihoods() -> Likelihoods:
    """The shipped trust in readings and words."""
    return load(place("likelihoods.toml"), Likelihoods)
