"""What is asked at a place: a step of the procedure, or a test of the reasoner's in its frame."""

from __future__ import annotations

import re
from collections.abc import Mapping

from companion.counsel import Counsel, TestCard
from companion.expected import Expectation
from companion.procedure.shapes import PROTECTIONS, Interlock, Procedure, Step
from companion.procedure.standing import Place, Standing

HIGH_PLACES = frozenset({"attic", "roof"})
_PROTECTION_FOR: Mapping[str, Interlock] = {"lamp": "lamp", "breaker": "breaker"}


def card_at(place: Place, procedure: Procedure, counsel: Counsel | None) -> TestCard | None:
    """The test that a place is about, if it is about one."""
    if procedure.steps[place.step].each != "tests" or place.about is None or counsel is None:
        return None
    return counsel.cards()[place.about]


def step_at(place: Place, procedure: Procedure, counsel: Counsel | None) -> Step:
    """The step at a place, with what its test asks filled in."""
    step = procedure.steps[place.step]
    card = card_at(place, procedure, counsel)
    if card is None:
        return step
    return step.model_copy(
        update={
            "say": card.say,
            "why": card.why,
            "power": card.power,
            "quantity": card.quantity,
            "most": card.most_si,
            "over_limit": card.over_limit,
            "answers": card.answers,
        }
    )


def needs(
    place: Place, standing: Standing, procedure: Procedure, counsel: Counsel | None
) -> tuple[Interlock, ...]:
    """Interlocks of a place, in the order in which they are answered for."""
    card = card_at(place, procedure, counsel)
    if card is not None:
        return _of_card(card, standing)
    step = procedure.steps[place.step]
    power: tuple[Interlock, ...] = () if step.power == "any" else (step.power,)
    fitted = tuple(need for need in step.needs if need in PROTECTIONS)
    # What is fitted is fitted dead: asked for after energizing, it would end that again.
    return (*fitted, *power, *(need for need in step.needs if need not in PROTECTIONS))


def _of_card(card: TestCard, standing: Standing) -> tuple[Interlock, ...]:
    footing: tuple[Interlock, ...] = ("footing",) if card.where in HIGH_PLACES else ()
    if card.power == "any":
        # Only a look; but where a cabinet is opened for it, a capacitor may hold its charge.
        return (*footing, "dead", "outdoor") if card.outdoor else footing
    if card.power == "live":
        return (*footing, protection(card, standing), "live")
    found: tuple[Interlock, ...] = ("outdoor",) if card.outdoor else ()
    found += ("unfused",) if card.base_on else ("isolated",)
    return (*footing, "dead", *found, *(("zeroed",) if card.quantity == "resistance" else ()))


def protection(card: TestCard, standing: Standing) -> Interlock:
    """What has to stand before R in a live test: what is being hunted with, else the fuse."""
    with_breaker = standing.setting("means", "meter") == "breaker"
    # A lamp in series would pull down every volt and amp that is read behind it.
    return _PROTECTION_FOR.get(card.means) or ("breaker" if with_breaker else "fused")


def may_be_asked(card: TestCard, standing: Standing) -> bool:
    """Whether a test fits what is at hand. Where a fuse would be at risk, it stays out; once
    nothing else tells any more and no terminal reads shorted, the marked one may go in."""
    means = standing.setting("means", "meter")
    if card.means in ("lamp", "breaker"):
        return card.means == means
    if card.means == "look" or card.power != "live":
        return True
    if means == "breaker":
        return True
    if any(_calls_again(card, test) for test in standing.overloaded):
        return False  # the next fuse would follow the last
    if standing.complaint == "nothing":
        return True
    return standing.setting("fuse", "stays out") == "may go in" and standing.fuse_may_go_in


def _calls_again(card: TestCard, overload: str) -> bool:
    """Whether a test has a call on that another had: by terminal, or all of them."""
    called = overload.removeprefix("amps, ").removeprefix("breaker, ").removeprefix("call ")
    terminal = called.removeprefix("R to ")
    return card.name.startswith("amps, all") or card.terminal == terminal or called in card.name


def most_asked(card: TestCard) -> int:
    """How often a test may be asked: a reading is checked once, and read a third time where the
    reasoner finds the two contradict each other; the eye sees no more."""
    return 1 if card.means == "look" else 3


def same_test_at(name: str, terminal: str, cards: Mapping[str, TestCard]) -> str | None:
    """The same test as a named one, at another terminal; None if there is none."""
    card = cards[name]
    if card.terminal is None:
        return None
    other = re.sub(rf"(?<!\w){re.escape(card.terminal)}(?!\w)", terminal, name)
    return other if other in cards and cards[other].terminal == terminal else None


def expected(standing: Standing, procedure: Procedure, counsel: Counsel | None) -> Expectation:
    """What can be taken at a place."""
    step = step_at(standing.place, procedure, counsel)
    return Expectation(
        step=standing.place.step,
        quantity=step.quantity,
        least_si=step.least,
        most_si=step.most,
        over_limit=step.over_limit,
        answers=step.answers,
        terminals=_terminals(standing, procedure, counsel),
        landed=step.landed,
        sure="safety" if step.safety else "usual",
    )


def _terminals(
    standing: Standing, procedure: Procedure, counsel: Counsel | None
) -> dict[str, tuple[str, ...]]:
    """Terminals at which the same test could be read as well, and what they are called."""
    about = standing.place.about
    card = card_at(standing.place, procedure, counsel)
    if card is None or counsel is None or standing.profile is None or about is None:
        return {}
    return {
        circuit.terminal: circuit.said
        for circuit in standing.profile.circuits
        if circuit.terminal == card.terminal
        or same_test_at(about, circuit.terminal, counsel.cards())
    }
