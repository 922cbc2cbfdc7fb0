"""Tests as cards for the procedure, and what is heard of them as outcomes for the belief."""

from __future__ import annotations

from collections.abc import Collection

from companion.counsel import Means, TestCard
from companion.diagnosis.likelihood import OL, Outcome
from companion.diagnosis.trial import Measure, Test
from companion.equipment import Equipment
from companion.quantities import Quantity
from companion.understood import Answer, Reading

MEANS: dict[Measure, Means] = {
    "ohms": "meter", "volts": "meter", "amperes": "meter",
    "breaker": "breaker", "lamp": "lamp", "look": "look",
}  # fmt: skip
QUANTITY: dict[Measure, Quantity] = {
    "ohms": "resistance", "volts": "voltage", "amperes": "current",
}  # fmt: skip
MOST_SI: dict[Quantity, float] = {"resistance": 50e6, "voltage": 600.0, "current": 60.0}
# Words of the vocabulary, and what each is to the reasoner.
HEARD = {
    "trips": "trips", "blew": "trips", "holds": "holds", "runs": "runs", "nothing_runs": "nothing",
    "other_runs": "other",
    "bright": "bright", "dim": "dim", "dark": "dark", "damaged": "damaged", "sound": "sound",
}  # fmt: skip
SAID = {word: name for name, word in HEARD.items() if name != "blew"}


def card(test: Test, equipment: Equipment, tests: Collection[Test]) -> TestCard:
    """A test out of ``tests`` with what the interlocks need to know of it."""
    quantity = "current" if test.sees == "fuse" else QUANTITY.get(test.measure)
    answers = () if quantity is not None else tuple(SAID[word] for word in test.outcomes)
    if "runs" in answers:
        answers += ("holds",)
    return TestCard(
        name=test.name,
        say=test.say,
        why=test.why,
        means=MEANS[test.measure],
        # A fuse is pulled by hand, so for that power is off.
        power="dead" if test.sees == "fuse" else test.setup.power,
        base_on=test.setup.base_on,
        fuse_in=test.setup.power == "live",
        where=test.where,
        outdoor=_outdoor(test, equipment),
        terminal=test.circuit,
        quantity=quantity,
        most_si=0.0 if quantity is None else MOST_SI[quantity],
        over_limit=quantity == "resistance",
        answers=answers,
        opens=_opens(test, tests),
    )


def _opens(test: Test, tests: Collection[Test]) -> str | None:
    if test.measure not in {"volts", "amperes"} or not (test.setup.jumpers or test.setup.calls):
        return None
    same = (t for t in tests if t.measure == "breaker" and t.setup == test.setup)
    return next((t.name for t in same if t.provokes is None), None)


def _outdoor(test: Test, equipment: Equipment) -> bool:
    """Whether it is read inside a cabinet that has a run capacitor."""
    ends = {cable.far for cable in equipment.cables.values() if cable.outdoor}
    if test.where in ends:
        return test.measure != "look" or not test.name.startswith("look along")
    if test.where != "board" or test.circuit in {None, "R"}:
        return False
    load = equipment.fed(str(test.circuit)).load
    return load.outdoor and load.name in test.name


def outcome(
    test: Test, value: Reading | Answer, leads_ohm: float, equipment: Equipment
) -> Outcome | None:
    """What a test came out as; None where what was heard is no outcome of it.

    Ohms are taken net of the leads, in SI.
    """
    if isinstance(value, Answer):
        word = HEARD.get(value.name)
        fits = word in test.outcomes or (word == "holds" and test.measure == "breaker")
        return word if fits and test.sees != "fuse" else None
    if test.sees == "fuse":
        under = (value.value_si or 0.0) < equipment.fuse_ampere
        return test.words[0] if under else test.words[1]
    if value.quantity != QUANTITY.get(test.measure):
        return None
    if value.value_si is None:
        return OL if test.measure == "ohms" else None
    return max(0.0, value.value_si - (leads_ohm if test.measure == "ohms" else 0.0))
