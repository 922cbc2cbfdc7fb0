"""Walking a procedure: where a call stands, what a value there leads to.

The walk is deterministic: the same values in the same order give the same
messages and the same state, which is how a call is replayed and resumed. It knows
nothing of how a value is checked by talking; that is ``conversation``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Literal

from companion.messages import (
    Answer,
    Blocked,
    Concluded,
    Expectation,
    Finding,
    Message,
    Prompt,
    Reading,
    StepEntered,
    Taken,
    Withdrawn,
)
from companion.procedure.checks import chain
from companion.procedure.library import Library
from companion.procedure.prompts import Role, prompt
from companion.procedure.shapes import AGAIN, NEXT, PARKED, Interlock, Outcome, Step
from companion.procedure.standing import Place, Standing
from companion.procedure.track import ENDED, Track
from companion.procedure.weighing import Judge, Weighed, weigh

Chooser = Callable[[Sequence[str], Mapping[str, str]], str | None]


class Walk:
    """A call's way through a procedure.

    Args:
        library: the procedure, the profiles and the replies.
        judge: gives the verdict of a named rule on a reading.
        choose: picks the next circuit or coil to test; None when there is none left.
    """

    def __init__(self, library: Library, judge: Judge, choose: Chooser) -> None:
        self.library = library
        self.procedure = library.procedure
        self.standing = Standing(Place(self.procedure.start))
        self.concluded: Concluded | None = None
        self._judge, self._choose = judge, choose
        self._earned: frozenset[Interlock] = frozenset()
        self._past: list[tuple[Standing, Taken]] = []
        self._cautioned: set[str] = set()
        self._on_the_way = {
            name: chain(self.procedure, entry) for name, entry in self.procedure.interlocks.items()
        }
        self._track = Track(self.procedure, self._missing)

    # ── Where it stands ──────────────────────────────────────────────────────

    @property
    def step(self) -> Step:
        """The current step."""
        return self.procedure.steps[self.standing.place.step]

    @property
    def earned(self) -> frozenset[Interlock]:
        """The interlocks answered for, and still good."""
        return self._earned

    def say(
        self,
        role: Role,
        template: str,
        value: Reading | Answer | None = None,
        **more: str | Reading,
    ) -> Prompt:
        """A prompt about the current place."""
        return prompt(role, template, self.standing, self.procedure, value=value, more=more)

    def ask(self, role: Literal["ask", "ask_again"] = "ask") -> Prompt:
        """The current step's question."""
        return self.say(role, self.step.say)

    def expectation(self) -> Expectation:
        """What the current step can take, and what a correction would be about."""
        now = self._expected_at(self.standing)
        if not self._past:
            return now
        return now.model_copy(update={"corrects": self._expected_at(self._past[-1][0])})

    def _expected_at(self, standing: Standing) -> Expectation:
        step = self.procedure.steps[standing.place.step]
        swept = step.each == "circuits" and standing.profile is not None
        circuits = standing.profile.circuits if swept and standing.profile else ()
        return Expectation(
            step=standing.place.step,
            quantity=step.quantity,
            least_si=step.least,
            most_si=step.most,
            over_limit=step.over_limit,
            answers=step.answers,
            terminals={c.terminal: c.said for c in circuits if c.sweep},
            sure="safety" if step.safety else "usual",
        )

    # ── Values ───────────────────────────────────────────────────────────────

    def weigh(self, value: Reading | Answer) -> Weighed:
        """What a value would lead to at this step; nothing changes yet."""
        place = self.standing.place
        if value.at is not None and self.step.each == "circuits":
            place = Place(place.step, value.at)
        return weigh(value, place, self.standing, self.procedure, self._judge)

    def accept(
        self, weighed: Weighed, read_back: Literal["confirmed", "said_twice", "said_back"]
    ) -> list[Message]:
        """Let a value count, and go where it leads."""
        place, outcome, step = weighed.place, weighed.outcome, self.step
        taken = Taken(step=place.step, about=place.about, value=weighed.value, read_back=read_back)
        self._past.append((self.standing, taken))
        out: list[Message] = [taken]
        standing = replace(self.standing, place=place)
        if weighed.verdict is not None or step.each is not None:
            verdict = weighed.verdict or str(outcome.answer)
            out.append(Finding(step=place.step, about=place.about, verdict=verdict))
            standing = standing.with_finding(place, verdict)
        if step.keeps is not None and isinstance(weighed.value, Reading):
            standing = standing.with_fact(step.keeps, weighed.value)
        self.standing = self._with_names(standing, outcome)
        self._earned -= set(outcome.loses)
        if outcome.go == PARKED and step.earns is not None:
            self._earned |= {step.earns}
        if outcome.say is not None:
            out.append(self.say("tell", outcome.say, weighed.value))
        if outcome.conclude is not None:
            self._track.move(Place(ENDED))
            return [*out, self._conclude(outcome)]
        return [*out, *self._go(outcome.go or AGAIN)]

    def _with_names(self, standing: Standing, outcome: Outcome) -> Standing:
        if outcome.names_circuit:
            standing = replace(standing, terminal=standing.place.about, part=None)
        elif outcome.names_part:
            standing = replace(standing, part=standing.place.about)
        elif outcome.names == "wiring" and standing.circuit is not None:
            standing = replace(standing, part=standing.circuit.wiring)
        elif outcome.names is not None:
            standing = replace(standing, terminal=outcome.names, part=None)
        if outcome.profile is not None:
            standing = replace(standing, profile=self.library.profiles[outcome.profile])
        return replace(standing, proved=standing.proved or outcome.proves)

    def _conclude(self, outcome: Outcome) -> Concluded:
        assert outcome.conclude is not None
        self.concluded = Concluded(
            outcome=outcome.conclude,
            circuit=self.standing.terminal,
            part=self.standing.part,
            proved=self.standing.proved,
        )
        return self.concluded

    # ── Ways ─────────────────────────────────────────────────────────────────

    def begin(self, profile: str | None = None) -> list[Message]:
        """The first step's messages; a profile given here is not asked for."""
        if profile is not None:
            self.standing = replace(self.standing, profile=self.library.profiles[profile])
        return self._arrive(self.standing.place)

    def skip(self) -> list[Message] | None:
        """Pass over the current step, if it may be."""
        if self.step.skip is None:
            return None
        place = self.standing.place
        self.standing = self.standing.with_finding(place, "skipped")
        skipped = Finding(step=place.step, about=place.about, verdict="skipped")
        return [skipped, *self._go(self.step.skip)]

    def withdraw(self) -> Withdrawn | None:
        """Take back the last value that counted, and stand where it was asked for.

        The interlock that rested on a withdrawn value starts over from its entry.
        """
        if not self._past:
            return None
        self.standing, taken = self._past.pop()
        for interlock, steps in self._on_the_way.items():
            if taken.step in steps:
                self._open_again(interlock)
        return Withdrawn(step=taken.step, about=taken.about, value=taken.value)

    def stand(self) -> list[Message]:
        """Ask the current place's question again, or its interlock's if that is open again."""
        wanted = self.standing.place
        if self._missing(wanted) is not None:
            wanted = self._behind_interlocks()
        place = self._track.put_back(wanted)
        return self._arrive(place, kept_waiting=wanted if place != wanted else None)

    def power_unknown(self) -> None:
        """After a break nothing said about power holds: interlocks start from their entry."""
        self._open_again("dead")

    def _open_again(self, interlock: Interlock) -> None:
        """An interlock starts over; when it is one of power, everything behind it does."""
        power = interlock in {"dead", "live"}
        self._earned = frozenset() if power else self._earned - {interlock}
        self.standing = replace(self.standing, place=self._behind_interlocks())

    def _behind_interlocks(self) -> Place:
        """The current place, or the one that waits while an interlock is being answered for."""
        if any(self.standing.place.step in steps for steps in self._on_the_way.values()):
            return self.standing.parked or self.standing.place
        return self.standing.place

    def _go(self, target: str) -> list[Message]:
        """To a target from the current place, past what needs no asking, as far as open."""
        to, told = self._resolve(target)
        place = self._track.move(to)
        return [*told, *self._arrive(place, kept_waiting=to if place != to else None)]

    def _resolve(self, target: str) -> tuple[Place, list[Message]]:
        """The place that a target means now, and what is told on the way to it."""
        here = self.standing.place
        if target == AGAIN:
            return here, []
        if target == PARKED:
            parked = self.standing.parked
            if parked is None:
                raise AssertionError("an interlock was entered with nothing waiting for it")
            return parked, []
        if target != NEXT:
            step = self.procedure.steps[target]
            for outcome in step.outcomes:
                if outcome.profile is not None and self.standing.profile is not None:
                    return self._resolve(outcome.go or AGAIN)
            if step.each is None:
                return Place(target), []
            here = Place(target)
            self.standing = self.standing.without_findings(target)
        about = self._choose(self._list_of(here.step), self.standing.found(here.step))
        if about is not None:
            return Place(here.step, about), []
        return self._list_done(here.step)

    def _list_of(self, step: str) -> list[str]:
        each, profile = self.procedure.steps[step].each, self.standing.profile
        if each == "circuits" and profile is not None:
            return [circuit.terminal for circuit in profile.circuits if circuit.sweep]
        circuit = self.standing.circuit
        return [] if circuit is None else [coil.name for coil in circuit.coils]

    def _list_done(self, step: str) -> tuple[Place, list[Message]]:
        found = self.standing.found(step)
        for entry in self.procedure.steps[step].exhausted:
            about = next((n for n, v in found.items() if v == entry.finding), None)
            if entry.finding is not None and about is None:
                continue
            if entry.names_circuit:
                self.standing = replace(self.standing, terminal=about, part=None)
            told: list[Message] = [] if entry.say is None else [self.say("tell", entry.say)]
            place, more = self._resolve(entry.go)
            return place, [*told, *more]
        raise AssertionError(f"{step}: its list is done and leads nowhere; see the checks")

    def _arrive(self, place: Place, kept_waiting: Place | None = None) -> list[Message]:
        out: list[Message] = []
        if kept_waiting is not None:
            interlock = self._missing(kept_waiting)
            assert interlock is not None
            self.standing = replace(self.standing, parked=kept_waiting)
            out.append(Blocked(interlock=interlock, step=kept_waiting.step))
        self.standing = replace(self.standing, place=place)
        out.append(StepEntered(step=place.step, phase=self.step.phase, about=place.about))
        if self.step.caution is not None and place.step not in self._cautioned:
            self._cautioned.add(place.step)
            out.append(self.say("caution", self.step.caution))
        return [*out, self.ask()]

    def _missing(self, place: Place) -> Interlock | None:
        """The first interlock that shuts a place now."""
        if place.step == ENDED:
            return None
        step = self.procedure.steps[place.step]
        if step.power != "any" and step.power not in self._earned:
            return step.power
        coil = self.standing.coil(place.about) if step.each == "coils" else None
        if coil is not None and coil.where == "outdoor" and "outdoor" not in self._earned:
            return "outdoor"
        if step.isolated and "isolated" not in self._earned:
            return "isolated"
        return None
