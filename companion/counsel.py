"""What the procedure and the reasoner say to each other: records, and one protocol.

The procedure knows when a test may be asked; the reasoner knows what it would tell. Neither
imports the other: both know these.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Literal, Protocol

from companion.expected import Known
from companion.messages import Suspicion
from companion.quantities import Quantity
from companion.understood import Answer, Reading, Record

Complaint = Literal["opens", "nothing"]
"""The fuse opens; or nothing answers, though it is whole."""
Means = Literal["meter", "lamp", "breaker", "look"]


class TestCard(Record):
    """A test that can be asked for at an installation, with what it takes.

    ``say`` is one action and what to read, in about twelve words. ``power``, ``base_on`` and
    ``where`` are what the interlocks need to know of it. ``answers`` are names of
    ``dialogs/vocabulary.toml``. ``opens`` names the test of whether the same call opens a breaker,
    for a test that calls one circuit and reads a meter.
    """

    __test__ = False  # pytest: not a test of ours

    name: str
    say: str
    why: str
    means: Means
    power: Literal["any", "dead", "live"]
    base_on: bool = False
    fuse_in: bool = False
    where: str = "board"
    outdoor: bool = False
    terminal: str | None = None
    quantity: Quantity | None = None
    most_si: float = 0.0
    over_limit: bool = False
    answers: tuple[str, ...] = ()
    opens: str | None = None


class Evidence(Record):
    """What a test came out as; None where it was refused or can't be reached. ``confirmed``: the
    value was read back and said to be right, or said twice alike."""

    test: str
    value: Reading | Answer | None = None
    leads_ohm: float = 0.0
    confirmed: bool = False


class Counsel(Protocol):
    """The reasoner, for one installation and one complaint. It keeps nothing of a call: the same
    evidence gives the same counsel, so that a call can be taken back and replayed."""

    def prepare(self) -> None:
        """Begin, without waiting, what takes long; called again it does nothing."""

    def cards(self) -> Mapping[str, TestCard]:
        """Every test that it can reason about, by name."""

    def next(self, heard: Sequence[Evidence], allowed: Collection[str]) -> str | None:
        """The test that buys most for the effort; None when enough is known or none would tell."""

    def suspicion(self, heard: Sequence[Evidence]) -> Suspicion:
        """What it believes now, and what does not fit."""

    def verdict(self, rule: str, reading: Reading, known: Known) -> str:
        """What a reading is by itself, by a rule of ``judges.VERDICTS``."""

    def how_far(self, heard: Sequence[Evidence]) -> str:
        """Distance to the short, to be said; or why it can't be told."""

    def should_read(self, name: str) -> str:
        """Healthy ohms of a terminal or part, to be said, with what they rest on."""

    def can_carry(self, more_ampere: float) -> str:
        """Whether the transformer carries all calls and so much more, to be said."""
