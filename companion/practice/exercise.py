"""One fault to be found by an apprentice: moves in, display and coaching out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

from companion.diagnosis.case import Case, open_case
from companion.diagnosis.choosers import LEAST_BITS, by_plan
from companion.diagnosis.gain import expected_gain
from companion.diagnosis.likelihood import OL
from companion.diagnosis.tables import effort
from companion.diagnosis.trial import Measure, Setup, Test
from companion.practice.best import Step
from companion.practice.debrief import display
from companion.practice.house import House, Protection
from companion.practice.moves import Move
from companion.practice.rules import LIVE_FIT, Breach, Stated, breaches

PROTECTIONS: dict[str, Protection] = {"fuse in": "fuse", "breaker in": "breaker", "lamp in": "lamp"}


class Exercise:
    """An apprentice at a house.

    Args:
        house: with the fault to be found.
    """

    def __init__(self, house: House) -> None:
        self.house = house
        self.named: str | None = None
        self.right = False
        self.given_up = False
        self.broken: Counter[Breach] = Counter()
        self.hints = 0
        self.done: list[Step] = []
        self.idle: list[str] = []
        self._stated = Stated()
        self._case: Case = open_case(house.equipment, house.complaint)
        self._setup = Setup("live", base_on=True, protection="breaker")
        self._leads_ohm = 0.0
        self._fitted: set[str] = set()
        self._hinted: str | None = None
        self._last: list[str] = [self.story]

    @property
    def story(self) -> str:
        """What is told at the start."""
        what = {"opens": "The control fuse opens.", "nothing": "Nothing answers; the fuse holds."}
        equipment = self.house.equipment
        terminals = ", ".join(c.terminal for c in equipment.circuits)
        return (
            f"{equipment.title.capitalize()}. {what[self.house.complaint]} "
            f"On the board: R, C, {terminals}. Power is on."
        )

    @property
    def over(self) -> bool:
        """Whether a part was named, or it was given up."""
        return self.named is not None or self.given_up

    def take(self, move: Move | None) -> list[str]:
        """What is said to a move, safety first."""
        if move is None:
            return ["I don't know that move. Say hint, or for one: leads on Y and C, ohms."]
        if move.do == "repeat":
            return self._last
        out = []
        for breach in breaches(move, self.house, self._stated, self._outdoors(move)):
            self.broken[breach] += 1
            out.append(f"Unsafe: {breach.rule}. {breach.why}")
        # In practice as on a call: what is unsafe is not done.
        self._last = out or list(self._does(move))
        return self._last

    # ── Moves ────────────────────────────────────────────────────────────────

    def _does(self, move: Move) -> Iterator[str]:
        house, stated = self.house, self._stated
        match move.do:
            case "stop":
                house.powered = False
                stated.power()
                yield "Stopped. Hands clear; power is off. Prove it dead before you go on."
            case "power off" | "power on":
                house.powered = move.do == "power on"
                stated.power()
                live = house.powered
                self._setup = replace(
                    self._setup, power="live" if live else "dead", jumpers=(), calls=()
                )
                yield "Power is on." if live else "Power is off, by your hand."
            case "meter proven":
                stated.proven = True
                yield "Meter proven."
            case "all clear":
                stated.clear = True
                yield "All clear."
            case "capacitor safe":
                stated.capacitor = True
                yield "Capacitor safe."
            case "fuse out":
                house.fit("nothing")
                yield "Out."
            case "fuse in" | "breaker in" | "lamp in":
                yield from self._fits(move)
            case "base off" | "base on":
                self._setup = replace(self._setup, base_on=move.do == "base on", calls=())
                house.wait(effort().minutes.base_on_or_off)
                yield "Base off." if move.do == "base off" else "Base on, set to off."
            case "leads together":
                self._leads_ohm = house.installed.touched_leads(len(self.done))
                yield f"{self._leads_ohm:.1f} Ω."
            case "jumper" | "call" | "jumper off" | "call off":
                yield from self._energizes(move)
            case "lift":
                self._setup = replace(self._setup, lifted=self._setup.lifted | {*move.on})
                house.wait(effort().minutes.lift_at_board)
                yield "Lifted."
            case "wires back":
                self._setup = replace(self._setup, lifted=frozenset())
                yield "Wires back."
            case "leads":
                yield from self._reads(self._probing(move))
            case "look" | "alone":
                yield from self._reads(self._by_itself(move))
            case "do that":
                yield from self._does_hint()
            case "hint" | "why" | "status":
                yield from self._coached(move)
            case "repair":
                self.named = move.on[0]
                self.right = house.repair(self.named)
                yield self._verdict()
            case "give up":
                self.given_up = True
                yield f"It is the {self._truth}."

    def _fits(self, move: Move) -> Iterator[str]:
        house = self.house
        if house.powered:
            self.broken[LIVE_FIT] += 1
            yield f"Unsafe: {LIVE_FIT.rule}. {LIVE_FIT.why}"
            return
        protection = PROTECTIONS[move.do]
        house.fit(protection)
        self._fitted.add(protection)
        yield "In."

    def _energizes(self, move: Move) -> Iterator[str]:
        house = self.house
        if move.do in {"jumper off", "call off"}:
            self._setup = replace(self._setup, jumpers=(), calls=())
            yield "Off."
            return
        if not house.powered:
            yield "Nothing happens: power is off."
            return
        by = "calls" if move.do == "call" else "jumpers"
        if by == "calls" and (not self._setup.base_on
                              or move.on[0] not in house.installed.layout.called):  # fmt: skip
            yield "The thermostat can't call that now."
            return
        self._setup = replace(self._setup, jumpers=(), calls=())
        if by == "jumpers":
            self._setup = replace(self._setup, jumpers=move.on)
        else:
            self._setup = replace(self._setup, calls=move.on)
        kind: Measure = "lamp" if house.protection == "lamp" else "breaker"
        name = f"{kind}, R to {move.on[0]}"
        known = house.tests.get(name) if by == "jumpers" else None
        minutes = effort().minutes.breaker
        yield from self._reads(known or Test(name, "", kind, self._setup, ("", ""), move.on[0],
                                             "board", minutes))  # fmt: skip

    def _probing(self, move: Move) -> Test:
        """The reasoner's own test, where the move is one of its; else the like of it."""
        at = (f"{move.on[0]}.te", "C.te") if move.where == "thermostat" else move.on
        setup = self._setup
        if move.measure == "ohms":
            setup = Setup(base_on=setup.base_on, lifted=setup.lifted)
        for test in self.house.tests.values():
            if (test.measure, test.setup, test.at) == (move.measure, setup, at):
                return test
        minutes = getattr(effort().minutes, move.measure)
        name = f"{move.measure} {'-'.join(move.on)}, {sorted(setup.lifted)} {setup.base_on}"
        circuit = move.on[0] if move.on[0] not in {"R", "C", "S"} else None
        return Test(name, "", move.measure, setup, (at[0], at[1]), circuit, "board", minutes)  # type: ignore[arg-type]

    def allowed(self) -> list[str]:
        """Tests for what is at hand: where a fuse would be at risk, none that needs it."""
        nothing = self.house.complaint == "nothing"
        names = []
        for test in self.house.tests.values():
            if test.measure in {"breaker", "lamp"}:
                fits = test.measure in self._fitted
            else:
                live = test.setup.power == "live"
                fits = not live or nothing or "breaker" in self._fitted
            names += [test.name] * fits
        return names

    def _by_itself(self, move: Move) -> Test | None:
        part = move.on[0]
        names = (f"ohms, {part} alone", f"look at the {part}", f"look along the {part}")
        return next((self.house.tests[n] for n in names if n in self.house.tests), None)

    def _outdoors(self, move: Move) -> bool:
        if move.do not in {"look", "alone"}:
            return False
        test = self._by_itself(move)
        ends = {c.far for c in self.house.equipment.cables.values() if c.outdoor}
        return test is not None and test.where in ends and not test.name.startswith("look along")

    def _reads(self, test: Test | None) -> Iterator[str]:
        house = self.house
        if test is None:
            yield "There is no such part here."
            return
        if test.measure in {"volts", "amperes"} and not house.powered:
            if set(test.at) == {"R", "C"}:
                self._stated.zero = True
            yield "0 V. Dead." if test.measure == "volts" else "0 A."
            return
        before, fuses = house.minutes, house.fuses_burnt
        shown = house.do(test)
        spent = house.minutes - before
        self.done.append(Step(test.name, test.say, shown, spent))
        yield display(shown, test)
        if house.fuses_burnt > fuses:
            yield "That was a fuse."
        if test.name in house.tests:
            if expected_gain(self._case, [test.name])[0] < LEAST_BITS:
                self.idle.append(test.name)
            net = shown
            if test.measure == "ohms" and isinstance(shown, float) and shown != OL:
                net = max(0.0, shown - self._leads_ohm)
            self._case = self._case.heard(test.name, net)

    def _does_hint(self) -> Iterator[str]:
        if self._hinted is None:
            yield "Ask for a hint first."
            return
        test = self.house.tests[self._hinted]
        wants_power = test.setup.power
        if wants_power != "any" and (wants_power == "live") != self.house.powered:
            yield f"First: power {'on' if wants_power == 'live' else 'off'}."
        elif wants_power == "dead" and not self._stated.dead:
            yield "First: meter proven, and zero volts from R to C."
        elif wants_power == "live" and not self._stated.clear:
            yield "First: all clear."
        else:
            self._hinted = None
            yield from self._reads(test)

    def _coached(self, move: Move) -> Iterator[str]:
        likely = self._case.belief.by_part()
        if move.do == "status":
            belief = ", ".join(f"{part} {likely[part]:.0%}" for part in list(likely)[:3])
            yield f"{len(self.done)} tests, {self.house.minutes:.0f} minutes."
            yield f"By what you read: {belief}."
            return
        if move.do == "why":
            test = None if self._hinted is None else self.house.tests[self._hinted]
            yield "Ask for a hint first." if test is None else test.why
            return
        self.hints += 1
        self._hinted = by_plan(self._case, self.allowed())
        if self._hinted is None:
            yield f"No test tells more. By what you read it is the {next(iter(likely))}."
            return
        yield self.house.tests[self._hinted].say

    def _verdict(self) -> str:
        if self.right and self.house.mended:
            return f"Right: the {self.named}."
        if self.right:
            return f"Right: the {self.named}. But there is a second fault."
        return f"No: the {self.named} is sound. It was the {self._truth}."

    @property
    def _truth(self) -> str:
        return " and the ".join(sorted(self.house.hidden.parts))
