"""A simulated technician: does what is asked in a simulated house, and says what shows."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence

from companion.counsel import TestCard
from companion.practice.habits import ASIDES, IN_PLACE_OF_SAFETY, STEADY, Habits, hesitant
from companion.practice.hands import Asked, Hands, lines
from companion.practice.house import House

HOLDS_BORNE = 2  # at one place; in the next hold there he leaves it
_GO_ON = ("resume", "go on", "continue")
_SAFETY = frozenset({"power_off", "meter_proven", "clear", "capacitor", "base", "fuse_out"})


class Technician(Hands):
    """Answers prompts about a house.

    Args:
        house: where he stands.
        equipment_said: what he calls the equipment.
        means: what he has at hand beside the meter.
        seed: of the ways he says things; 0 says them the first way.
        replies: what he says at a step in place of the usual.
        in_between: what he says first when a step is asked for the first time.
        over_limit_said: how he reads out a display over its range.
        habits: slips, haste and refusals.
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
        habits: Habits = STEADY,
    ) -> None:
        super().__init__(house, equipment_said, means, over_limit_said, habits, seed)
        self._replies = replies or {}
        self._first = {step: list(said) for step, said in (in_between or {}).items()}
        self.taken_back = 0
        self._meant: str | None = None  # the last line, where another was heard
        self._last = ""
        self._at: tuple[str, str | None] | None = None
        self._other: tuple[str, str | None] | None = None
        self._hurried: set[str] = set()
        self._held_at: tuple[tuple[str, str | None], int] | None = None
        self._holding = 0  # lines said in this hold
        self.slowly = False  # whether the last line was said with a gap after each word

    # ── Talking ──────────────────────────────────────────────────────────────

    def reply(self, asked: Asked) -> str:
        """What is heard next."""
        self.slowly = False
        if asked.wants == "resume":
            return self._out_of_hold(asked)
        self._holding = 0
        meant, self._meant = self._meant, None
        read_back = meant is not None and (asked.wants == "yes" or asked.took)
        if read_back and self._rng.random() < self.habits.heeds:
            self.taken_back += 1
            return f"no {meant}"
        if asked.wants == "yes":
            return "yes"
        if asked.wants == "again" and self._last:
            return self._last
        told = asked.step in self._replies and asked.card is None
        if asked.wants in ("digits", "options") and self._other is not None and not told:
            return self._answer(asked)
        if self._first.get(asked.step):
            return self._first[asked.step].pop(0)
        if told:
            self._last = self._replies[asked.step]
            return self._last
        return self._beside(asked) or self._answer(asked)

    def _out_of_hold(self, asked: Asked) -> str:
        """Go on and read it again; where that has not helped, leave it as is offered."""
        at, held = (asked.step, asked.about), self._held_at
        if not self._holding:
            before = held[1] if held is not None and held[0] == at else 0
            self._held_at = at, before + 1
        assert self._held_at is not None
        self._holding += 1
        self._meant = self._other = None
        borne = HOLDS_BORNE if asked.way_out == "close" else HOLDS_BORNE - 1
        if self._held_at[1] > borne and asked.way_out is not None and self._holding % 2:
            return "skip" if asked.way_out == "skip" else "close the call"
        return _GO_ON[(self._holding - 1) % len(_GO_ON)]

    def mistaken(self, line: str) -> None:
        """The ears made another value of a line: it is taken back once it is read back."""
        self.slips += 1
        self._meant = line

    def _beside(self, asked: Asked) -> str | None:
        """What is said in place of the answer, now and then."""
        habits, rng, card = self.habits, self._rng, asked.card
        if asked.step in _SAFETY and asked.step not in self._hurried:
            self._hurried.add(asked.step)
            if rng.random() < habits.hurries_safety:
                return rng.choice(IN_PLACE_OF_SAFETY)
        if card is not None and card.where != "board" and self._too_far(card):
            return "skip can't reach it"
        if asked.step == "hold" or self._last == "wait":
            self._last = ""
            return "back to work"
        if card is not None and rng.random() < habits.impatient:
            self._last = rng.choice(ASIDES)
            return self._last
        if card is not None and rng.random() < habits.volunteers:
            return self._volunteered(card)
        return None

    def _too_far(self, card: TestCard) -> bool:
        """What can't be reached once can't be reached again."""
        return random.Random(f"{card.name}{self._equipment}").random() < self.habits.cannot_reach

    def _volunteered(self, card: TestCard) -> str | None:
        """Another terminal's ohms at the board, where that is what is being read."""
        names = {t.name: t.circuit for t in self.house.tests.values()}
        others = [t for name, t in names.items() if t and t != card.terminal and t != "R"
                  and name == f"ohms {t}-C at the board"]  # fmt: skip
        if not others or card.name != f"ohms {card.terminal}-C at the board":
            return None
        other, spelled = self._rng.choice(others), self._spelled
        self.tests += 1
        said = self._spoken(self.house.shows(f"ohms {other}-C at the board"), card)
        self._spelled = spelled
        return f"{other} {said}"

    def _answer(self, asked: Asked) -> str:
        at = (asked.step, asked.about)
        if asked.took or at != self._at or self._other is None:
            self._at, self._other = at, self._does(asked)
        line, other = self._other  # asked again, nothing is done again
        line = self._repaired(line, asked)
        self._last = line
        if other is not None and self._rng.random() < self.habits.misheard:
            self.slips += 1
            self._meant = line
            return other
        if self._rng.random() < self.habits.hesitates:
            return hesitant(line, self._rng)
        return line

    def _repaired(self, line: str, asked: Asked) -> str:
        """The same as the companion would have it said."""
        if asked.wants == "digits":
            self.slowly = self._spelled is not None
            return self._spelled or line
        others = [said for said in lines().says.get(asked.step, ()) if said != line]
        return self._rng.choice(others) if asked.wants == "options" and others else line
