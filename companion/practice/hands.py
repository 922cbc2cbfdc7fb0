"""What a technician does with his hands when asked, and what he then has to say."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from companion.counsel import TestCard
from companion.datafiles import Shape, folder, load
from companion.diagnosis.likelihood import OL
from companion.practice.habits import Habits, other_number
from companion.practice.house import NOTHING_WRONG, House, Protection
from companion.speaking.numbers import digit_words, number_words

_UNITS = {"resistance": "ohms", "voltage": "volts", "current": "amps"}
_WORDS = {"runs": "it runs", "nothing": "nothing runs", "trips": "it trips"}
_FITS: Mapping[str, Protection] = {
    "fuse_ready": "fuse", "lamp_fit": "lamp", "breaker_fit": "breaker", "base": "nothing",
    "fuse_out": "nothing", "new_fuse": "fuse", "fitted": "nothing",
}  # fmt: skip
Wants = Literal["answer", "yes", "again", "digits", "options", "resume"]
PRIMARY_VOLT = 120.0
KILO_SAID_OHM = 10e3  # a display that shows a K is read out with it
CHATTER_VOLT = (15.0, 22.0)  # judgement: what moves a coil that it can't hold in


class Lines(Shape):
    """``dialogs/practice/technician.toml``."""

    says: dict[str, tuple[str, ...]]
    complaint: dict[str, tuple[str, ...]]


@cache
def lines() -> Lines:
    """The shipped lines.

    Raises:
        DataFileError: naming the file, the key and what was expected.
    """
    return load(folder("dialogs") / "practice" / "technician.toml", Lines)


@dataclass(frozen=True)
class Asked:
    """What the companion wants now.

    Args:
        step: the step that is being asked.
        about: the circuit it is about.
        card: the test it is, if it is one.
        part: the part that was named.
        power: what the step says of power.
        wants: an answer; a "yes" to a value that was read back; the number once more, or digit by
            digit; one of the ways to say it; or to be told to go on, since it holds.
        way_out: what a hold offers beside going on.
        took: whether the last thing said counted.
    """

    step: str
    about: str | None = None
    card: TestCard | None = None
    part: str | None = None
    power: Literal["any", "dead", "live"] = "any"
    wants: Wants = "answer"
    way_out: Literal["skip", "close"] | None = None
    took: bool = True


class Hands:
    """At a house, with whatever is at hand.

    Args:
        house: where he stands.
        equipment_said: what he calls the equipment.
        means: what he has at hand beside the meter.
        over_limit_said: how he reads out a display over its range.
        habits: slips, haste and refusals.
        seed: of the ways he says things; 0 says them the first way.
    """

    def __init__(
        self,
        house: House,
        equipment_said: str,
        means: str,
        over_limit_said: str,
        habits: Habits,
        seed: int,
    ) -> None:
        self.house, self._equipment, self._means = house, equipment_said, means
        self._over_limit, self.habits = over_limit_said, habits
        self._rng, self._plain = random.Random(seed), seed == 0
        self.tests = self.slips = self.touched_live = self.unasked = 0
        self.repairs: list[tuple[str, bool]] = []
        self._readings = 0
        self._hunted = 0
        self._tried = {means}
        self._spelled: str | None = None  # what was read last, digit by digit

    def _does(self, asked: Asked) -> tuple[str, str | None]:
        """What is said after doing it, and what it may be misheard as."""
        house, step, card = self.house, asked.step, asked.card
        self._spelled = None
        house.wait(0.2)  # judgement: a turn of talk
        self._power(asked)
        if step == "fuse_ready" and house.opened_unseen:
            house.opened_unseen = False
            return "it blew", None
        if step in _FITS:
            house.fit(_FITS[step])
        if step == "supply_again" and house.protection != "fuse":
            house.fit("fuse")  # nobody said so, but whoever is to read 24 V puts it back
            self.unasked += 1
        if card is not None:
            self.tests += 1
            if card.quantity == "current" and card.power == "dead":
                return self._number(house.fitted_ampere, "current")
            return self._shown(house.shows(card.name), card)
        match step:
            case "complaint":
                return self._one_of(lines().complaint[self._complaint()]), None
            case "equipment":
                return self._equipment, None
            case "method" | "unclear":
                return self._method(step), None
            case "unanswered":
                hunted, self._hunted = self._hunted, len(self.repairs)
                return ("not today" if hunted == len(self.repairs) else "more tests"), None
            case "repair":
                self.repairs.append((asked.part or "", house.repair(asked.part or "")))
            case "recheck":
                board, based = (
                    house.tests.get(f"ohms {asked.about}-C{how}")
                    for how in (" at the board", ", base on")
                )
                test = based or board
                assert test is not None, f"nothing is read at {asked.about}"
                return self._number(float(house.read(test)), "resistance")
            case "call":
                return self._calls(str(asked.about)), None
            case "provoke" if house.shorted():
                return "bright", None
            case "provoke" | "provoke_again":
                return ("it flickers" if house.shaken() else "steady"), None
            case "place":
                return ("damaged" if house.moved else "sound"), None
        value = self._value(step)
        return value if value is not None else (self._one_of(lines().says[step]), None)

    def _power(self, asked: Asked) -> None:
        """Switch what the step wants switched; count hands on what is live."""
        house = self.house
        if asked.step == "power_off":
            house.powered = False
        elif asked.step == "clear":
            house.powered = True
        ohms = asked.card is not None and asked.card.quantity == "resistance"
        if house.powered and (asked.power == "dead" or ohms):
            self.touched_live += 1
        if not house.powered and asked.power == "live":
            self.touched_live += 1  # energized by surprise: nobody said "all clear"

    def _complaint(self) -> str:
        return "comes_and_goes" if self.house.comes_and_goes else self.house.complaint

    def _method(self, step: str) -> str:
        """What is at hand, first; another, once, when that has not told enough."""
        left = [way for way in (self._means, "meter") if way not in self._tried]
        if step == "method":
            return self._means if len(self._tried) == 1 else "meter"
        if not left or self._plain:
            return lines().says["unclear"][0]
        self._tried.add(left[0])
        return left[0]

    def _calls(self, terminal: str) -> str:
        came = self.house.call(terminal)
        if self.house.protection == "open fuse":
            return "it blew"
        if came != "nothing":
            return "it runs"
        low, high = CHATTER_VOLT
        chatters = low < self.house.coil_volt(terminal) < high
        return "it chatters" if chatters else "nothing runs"

    def _one_of(self, ways: tuple[str, ...]) -> str:
        return ways[0] if self._plain else self._rng.choice(ways)

    def _value(self, step: str) -> tuple[str, str | None] | None:
        """Numbers of the steps around the hunt."""
        house, readings = self.house, self._readings
        fuse = house.equipment.fuse_ampere
        match step:
            case "still_fed":
                house.opened_unseen = False
                return self._number(float(house.shows("volts R-C")), "voltage")
            case "supply" | "supply_again":
                return self._number(house.volts("R", "C"), "voltage")
            case "zero_volts":
                return self._number(0.0, "voltage")
            case "secondary":
                return self._number(house.secondary_volt(), "voltage")
            case "primary":
                return self._number(PRIMARY_VOLT, "voltage")
            case "ground":
                return self._number(house.installed.ground_volt, "voltage")
            case "fitted":
                return self._number(house.fitted_ampere, "current")
            case "marked" | "new_fuse" | "breaker_rating":
                return self._number(fuse, "current")
            case "fuse":
                opened = house.complaint == "opens" or house.fuses_burnt > 0
                ohms = OL if opened else house.installed.touched_leads(readings)
                return self._number(ohms, "resistance")
            case "leads":
                self._readings += 1
                said, other = self._number(house.installed.touched_leads(readings), "resistance")
                return said.replace("zero point", "point").removesuffix(" ohms"), other
            case "all_amps":
                return self._number(house.all_amps(), "current")
            case "call_volts":
                last = [c.terminal for c in house.equipment.circuits if c.load.kind.coil]
                called = last or [c.terminal for c in house.equipment.circuits]
                return self._number(house.coil_volt(called[-1]), "voltage")
        return None

    # ── Saying ───────────────────────────────────────────────────────────────

    def _shown(self, shown: float | str, card: TestCard) -> tuple[str, str | None]:
        if isinstance(shown, str):
            words = self.house.tests[card.name].outcomes
            other = [_WORDS.get(word, word) for word in words if word != shown]
            return _WORDS.get(shown, shown), self._rng.choice(other) if other else None
        if self._rng.random() < self.habits.misread:
            self.slips += 1
            shown = other_number(shown, self._rng)
        assert card.quantity is not None, f"{card.name} shows a number and asks for none"
        return self._number(shown, card.quantity)

    def _number(self, value_si: float, quantity: str) -> tuple[str, str]:
        """A number as it is said, and as it may be misheard."""
        other = other_number(value_si, self._rng)
        self._spelled = self._in_words(value_si, quantity, digit_words)
        return self._in_words(value_si, quantity), self._in_words(other, quantity)

    def _in_words(
        self, value_si: float, quantity: str, words: Callable[[float], str] = number_words
    ) -> str:
        if value_si == OL:
            return self._over_limit if quantity == "resistance" else "zero volts"
        if quantity == "resistance" and value_si >= KILO_SAID_OHM:
            return f"{words(round(value_si / 1000, 1))} K"
        return f"{words(round(value_si, 3))} {_UNITS[quantity]}"

    def _spoken(self, shown: float | str, card: TestCard) -> str:
        return self._shown(shown, card)[0]

    @property
    def nothing_was_wrong(self) -> bool:
        """Whether the house had nothing to repair."""
        return self.house.hidden.parts <= {NOTHING_WRONG}
