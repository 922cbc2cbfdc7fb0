"""Calls by the book: a house read without leads or wear, and a technician who never slips.

The invented calls of ``calls.toml`` are held with these, so that each says the same lines every
time: those lines were spoken for the calls by sound. ``companion.practice`` has the house with
all its ways.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import replace

from companion.closed_loop import MOST_TURNS, Outcome, opened
from companion.counsel import TestCard
from companion.diagnosis.battery import battery
from companion.diagnosis.hypotheses import Hypothesis
from companion.diagnosis.layout import Layout
from companion.diagnosis.likelihood import OL
from companion.diagnosis.simulate import Installation, install
from companion.diagnosis.tables import Complaint, effort
from companion.equipment import Equipment
from companion.messages import Blocked, NotUnderstood, Prompt, Utterance
from companion.practice.hands import lines
from companion.practice.house import NOTHING_WRONG, faults
from companion.speaking.numbers import number_words
from companion.turns import Dialogs, Turns

_UNITS = {"resistance": "ohms", "voltage": "volts", "current": "amps"}
_WORDS = {"runs": "it runs", "nothing": "nothing runs", "over limit": "O L"}
HEALTHY_SECONDARY_V = 27.0
VOLTS_AT_COIL = 25.5


class House:
    """One installation.

    Args:
        equipment: what is fitted.
        complaint: what it was called for.
        hidden: what is wrong, one of ``faults``.
        seed: of lengths, loads and the meter; the same seed is the same house.
        misheard: rate of readings that come out as others.
    """

    def __init__(
        self, equipment: Equipment, complaint: Complaint, hidden: Hypothesis, seed: int = 0,
        misheard: float = 0.0,
    ) -> None:  # fmt: skip
        self.equipment, self.complaint, self.hidden = equipment, complaint, hidden
        self._seed, self._misheard = seed, misheard
        self._asked: dict[str, int] = {}
        self._now = self._with(hidden)

    def _with(self, hypothesis: Hypothesis) -> Installation:
        tests = battery(Layout(self.equipment), effort(), self.complaint)
        return install(self.equipment, hypothesis, tests, self._seed, self._misheard)

    @property
    def mended(self) -> bool:
        """Whether everything that was wrong has been repaired."""
        return not self._left

    @property
    def _left(self) -> frozenset[str]:
        return self._now.hidden.parts - {NOTHING_WRONG}

    def shows(self, test: str) -> float | str:
        """What a test comes out as now: a number in SI, ``likelihood.OL``, or a word.

        Raises:
            KeyError: the equipment has no such test.
        """
        time = self._asked.get(test, 0)
        self._asked[test] = time + 1
        return self._now.answer(test, time)

    def repair(self, part: str) -> bool:
        """Repair a part; whether anything was wrong with it. One of two faults may be left."""
        left = frozenset(name for name in self._left if name not in part)
        if left == self._left:
            return False
        now = replace(self.hidden, changes=(), parts=frozenset({NOTHING_WRONG}), kinds=frozenset())
        if left:
            names = self.hidden.name.split(" + ")
            known = faults(self.equipment, self.complaint)
            now = next(known[name] for name in names if known[name].parts == left)
        self._now = self._with(now)
        return True


class Technician:
    """Answers prompts about a house.

    Args:
        house: where he stands.
        equipment_said: what he calls the equipment.
        means: what he has at hand.
        seed: of the ways he says things; 0 says them the first way.
        replies: what he says at a step in place of the usual.
        in_between: what he says first when a step is asked for the first time.
        over_limit_said: how he reads out a display over its range.
    """

    def __init__(
        self,
        house: House,
        equipment_said: str,
        means: str = "meter",
        seed: int = 0,
        replies: Mapping[str, str] | None = None,
        in_between: Mapping[str, Sequence[str]] | None = None,
        over_limit_said: str = "O L",
    ) -> None:
        self.house, self._equipment, self._means = house, equipment_said, means
        self._replies = replies or {}
        self._first = {step: list(said) for step, said in (in_between or {}).items()}
        self._over_limit = over_limit_said
        self._rng = random.Random(seed)
        self._plain = seed == 0
        self.tests = 0

    def reply(
        self, step: str, about: str | None, card: TestCard | None, confirm: bool, part: str | None
    ) -> str:
        """What is said next.

        Args:
            step: the step that is being asked.
            about: the circuit it is about.
            card: the test it is, if it is one.
            confirm: a value was read back and waits for "yes".
            part: the part that was named.
        """
        if self._first.get(step):
            return self._first[step].pop(0)
        if confirm:
            return "yes"
        if step in self._replies and card is None:
            return self._replies[step]
        if card is not None:
            self.tests += 1
            if card.quantity == "current" and card.terminal is None and card.power == "dead":
                return self._value("fitted") or ""
            return said(self.house.shows(card.name), card, self._over_limit)
        match step:
            case "complaint":
                return self._one_of(lines().complaint[self.house.complaint])
            case "equipment":
                return self._equipment
            case "method":
                return self._means
            case "repair":
                self.house.repair(part or "")
            case "recheck":
                shown = self.house.shows(f"ohms {about}-C at the board")
                return self._over_limit if shown == OL else _number(float(shown), "resistance")
        return self._value(step) or self._one_of(lines().says[step])

    def _one_of(self, ways: tuple[str, ...]) -> str:
        return ways[0] if self._plain else self._rng.choice(ways)

    def _value(self, step: str) -> str | None:
        """Numbers of the steps around the hunt."""
        house = self.house
        fuse = _number(house.equipment.fuse_ampere, "current")
        fed = house.complaint == "nothing" or house.mended
        match step:
            case "supply" | "supply_again":
                return _number(HEALTHY_SECONDARY_V if fed else 0.0, "voltage")
            case "secondary":
                return _number(HEALTHY_SECONDARY_V, "voltage")
            case "marked" | "fitted" | "new_fuse" | "breaker_rating":
                return fuse
            case "fuse":
                return "O L"
            case "all_amps":
                shown = house.shows("amps, all calling")
                return _number(float(shown) if shown != OL else 0.0, "current")
            case "call_volts":
                return _number(VOLTS_AT_COIL, "voltage")
        return None


def said(shown: float | str, card: TestCard, over_limit: str = "O L") -> str:
    """What a meter or an eye shows, as it is said."""
    if shown == OL:
        return over_limit
    if isinstance(shown, str):
        return _WORDS.get(shown, shown)
    assert card.quantity is not None, f"{card.name} shows a number and asks for none"
    return _number(shown, card.quantity)


def _number(value_si: float, quantity: str) -> str:
    return f"{number_words(value_si)} {_UNITS[quantity]}"


def run(dialogs: Dialogs, technician: Technician) -> Outcome:
    """One call from arrival to its end, or to ``MOST_TURNS``."""
    turns = Turns(dialogs, opened(dialogs))
    done = Outcome()
    latest = turns.begin()
    done.messages += latest
    while turns.concluded is None and len(done.lines) < MOST_TURNS:
        walk = turns.walk
        place, standing = walk.standing.place, walk.standing
        asked = dialogs.library.replies.is_that_right
        confirm = any(isinstance(m, Prompt) and m.template == asked for m in latest)
        line = technician.reply(
            place.step, place.about or standing.terminal, walk.card, confirm, standing.part
        )
        done.lines.append(line)
        understood = turns.understand(Utterance(text=line, source="typed"))
        done.asked_again += isinstance(understood, NotUnderstood)
        latest = turns.take(understood)
        done.messages += [understood, *latest]
        done.blocked += sum(isinstance(m, Blocked) for m in latest)
    done.concluded, done.tests = turns.concluded, technician.tests
    return done
