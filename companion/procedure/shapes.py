"""The shapes of dialogs/procedures/*.toml and dialogs/profiles/*.toml."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from companion.quantities import Quantity

Power = Literal["any", "dead", "live"]
Interlock = Literal[
    "dead", "live", "outdoor", "footing", "isolated", "unfused", "zeroed",
    "lamp", "breaker", "fused",
]  # fmt: skip
# What stands between the transformer and R; it is fitted dead, and only one can be.
PROTECTIONS: frozenset[Interlock] = frozenset({"lamp", "breaker", "fused"})
Phase = Literal["arrive", "safe", "supply", "fuse", "method", "hunt", "repair", "prove", "close"]
SWEPT = ("circuits", "uncleared")
"""Kinds of list that hold terminals."""
Setting = Literal["complaint", "means", "transformer", "fuse"]
Fact = Literal["profile", "means", "no circuit", "fuse whole", "transformer lives"]
Finding = Literal[
    "named", "comes and goes", "unclear", "sound again", "unanswered", "fuse may tell",
    "skipped would tell",
]  # fmt: skip
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
    evidence: tuple[str, ...] = ()
    evidence_as: Literal["trips", "holds"] | None = None
    proves: bool = False
    mends: bool = False
    profile: str | None = None
    sets: dict[Setting, str] = {}
    history: str | None = None
    accessory: str | None = None
    part: str | None = None
    fault: str | None = None
    unfinished: str | None = None
    settles: bool = False
    asks_skipped: bool = False
    loses: tuple[Interlock, ...] = ()
    gains: tuple[Literal["fused"], ...] = ()

    @model_validator(mode="after")
    def _leads_somewhere(self) -> Outcome:
        if (self.go is None) == (self.conclude is None):
            raise ValueError("an outcome has either 'go' or 'conclude'")
        return self


class Exhausted(_Shape):
    """Where a step with ``each`` goes when its list is done, by what was found on the way."""

    finding: Finding | None = None
    say: str | None = None
    sets: dict[Setting, str] = {}
    go: str


class Pass(_Shape):
    """A step that need not be asked when something is known already, and where that leads."""

    when: Fact
    go: str


class Step(_Shape):
    """One thing to ask."""

    phase: Phase
    power: Power
    say: str
    brief: str | None = None
    why: str
    caution: str | None = None
    needs: tuple[Interlock, ...] = ()
    safety: bool = False
    quantity: Quantity | None = None
    least: float = 0.0
    most: float = 0.0
    over_limit: bool = False
    answers: tuple[str, ...] = ()
    each: Literal["circuits", "uncleared", "tests"] | None = None
    landed: bool = False
    judge: str | None = None
    keeps: str | None = None
    earns: tuple[Interlock, ...] = ()
    skip: str | None = None
    passes: tuple[Pass, ...] = ()
    outcomes: tuple[Outcome, ...] = Field(min_length=1)
    exhausted: tuple[Exhausted, ...] = ()


class Frame(_Shape):
    """``procedure.toml`` of a procedure's folder: all but the steps."""

    id: str
    title: str
    start: str
    hunt: str
    fuse_check: str
    method: str
    interlocks: dict[Interlock, str]


class Part(_Shape):
    """Any other file of a procedure's folder: some of its steps."""

    steps: dict[str, Step]


class Procedure(Frame):
    """Steps by name, the one that hunts, and the step at which each interlock is answered for."""

    steps: dict[str, Step]


class Repair(_Shape):
    """What mends a part whose name has these words in it."""

    part: str
    say: str


class Repairs(_Shape):
    """``dialogs/repairs.toml``; the first that fits is said, the last fits all."""

    repairs: tuple[Repair, ...] = Field(min_length=1)

    def of(self, part: str) -> str:
        """What mends a part."""
        return next(r.say for r in self.repairs if r.part in part)


class Replies(_Shape):
    """dialogs/replies.toml: what is said outside the steps."""

    back_is_start: str
    corrected: str
    blocked_ohms: str
    cannot_skip: str
    digit_by_digit: str
    go_ahead: str
    held: str
    held_or_skip: str
    held_or_close: str
    left_here: str
    one_of: str
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
    cannot_fit: str
    cannot_place: str
    caution_breaker: str
    caution_lamp: str
    caution_lifting: str
    caution_live_outdoors: str
    handed_over: str
    how_sure: str
    left: str
    marked: str
    no_belief: str
    no_method_yet: str
    revise: str
    something_else: str
    style_brief: str
    style_explain: str
    style_usual: str
    summary: str
    waiting: str
