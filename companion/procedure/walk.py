"""Walking a procedure: where a call stands, what a value there leads to.

The walk is deterministic: the same values in the same order give the same
messages and the same state, which is how a call is replayed and resumed. It knows
nothing of how a value is checked by talking; that is ``conversation``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from companion.counsel import Complaint, Counsel, Evidence, TestCard
from companion.equipment import Equipment
from companion.expected import Expectation
from companion.messages import (
    Blocked,
    Concluded,
    Finding,
    Message,
    Prompt,
    StepEntered,
    Style,
    Taken,
    Withdrawn,
)
from companion.procedure import asking
from companion.procedure.evidence import leading, read_at, revised, worth_saying
from companion.procedure.interlocks import Interlocks
from companion.procedure.library import Library
from companion.procedure.outcomes import standing_after
from companion.procedure.prompts import Role, prompt
from companion.procedure.shapes import AGAIN, SWEPT, Interlock, Step
from companion.procedure.standing import Place, Standing
from companion.procedure.track import ENDED, Track
from companion.procedure.ways import Ways
from companion.procedure.weighing import Weighed, confirmed, weigh
from companion.understood import Answer, Command, Reading

CounselFor = Callable[[Equipment, Complaint, tuple[str, ...]], Counsel]


class Walk:
    """A call's way through a procedure.

    Args:
        library: the procedure, the equipment and the replies.
        counsel_for: gives the reasoner for an equipment, a complaint and a history.
    """

    def __init__(self, library: Library, counsel_for: CounselFor) -> None:
        self.library = library
        self.procedure = library.procedure
        self.standing = Standing(Place(self.procedure.start))
        self.concluded: Concluded | None = None
        self.style: Style = "usual"
        self._counsel_for = counsel_for
        self._counsels: dict[tuple[Equipment, Complaint, tuple[str, ...]], Counsel] = {}
        self._interlocks = Interlocks(self.procedure)
        self._past: list[tuple[Standing, Taken]] = []
        self._cautioned: set[str] = set()
        self._explained: set[str] = set()
        self._ways = Ways(library)
        self._track = Track(self.procedure, self._missing)

    # ── Where it stands ──────────────────────────────────────────────────────

    @property
    def counsel(self) -> Counsel | None:
        """The reasoner, once the equipment is known."""
        profile, standing = self.standing.profile, self.standing
        if profile is None:
            return None
        key = (profile, standing.complaint, standing.history)
        if key not in self._counsels:
            self._counsels[key] = self._counsel_for(*key)
        return self._counsels[key]

    @property
    def step(self) -> Step:
        """The current step, with what its test asks."""
        return asking.step_at(self.standing.place, self.procedure, self.counsel)

    @property
    def card(self) -> TestCard | None:
        """The test being asked for, if one is."""
        return asking.card_at(self.standing.place, self.procedure, self.counsel)

    @property
    def earned(self) -> frozenset[Interlock]:
        """The interlocks answered for, and still good."""
        return self._interlocks.earned

    def say(
        self,
        role: Role,
        template: str,
        value: Reading | Answer | None = None,
        **more: str | Reading,
    ) -> Prompt:
        """A prompt about the current place."""
        slots = {"repair": self.library.repairs.of(self.standing.part or ""), **more}
        return prompt(role, template, self.standing, self.procedure, self.card, value, slots)

    def ask(self, role: Literal["ask", "ask_again"] = "ask") -> Prompt:
        """The current step's question."""
        step = self.step
        return self.say(role, step.brief or step.say if self.style == "brief" else step.say)

    def expectation(self) -> Expectation:
        """What the current step can take, and what a correction or a revision would be about."""
        now = self._expected_at(self.standing)
        cards = self.counsel.cards() if self.counsel is not None else {}
        read = {t: r.quantity for t, r in read_at(self.standing.evidence, cards).items()}
        corrects = self._expected_at(self._past[-1][0]) if self._past else None
        return now.model_copy(update={"read": read, "corrects": corrects})

    def _expected_at(self, standing: Standing) -> Expectation:
        return asking.expected(standing, self.procedure, self.counsel)

    # ── Values ───────────────────────────────────────────────────────────────

    def place_of(self, value: Reading | Answer) -> Place | None:
        """The place a value is about: the current one, or the same test at a terminal that was
        named with it. None where that can't be placed, or is shut."""
        card, here = self.card, self.standing.place
        if value.at is None or card is None or value.at == card.terminal:
            return here
        assert self.counsel is not None
        assert here.about is not None
        other = asking.same_test_at(here.about, value.at, self.counsel.cards())
        place = None if other is None else Place(here.step, other)
        return None if place is None or self._missing(place) is not None else place

    def weigh(self, value: Reading | Answer, place: Place) -> Weighed:
        """What a value would lead to there; nothing changes yet."""
        return weigh(value, place, self.standing, self.procedure, self.counsel)

    def accept(
        self, weighed: Weighed, read_back: Literal["confirmed", "said_twice", "said_back"]
    ) -> list[Message]:
        """Let a value count, and go where it leads."""
        if read_back != "said_back":
            weighed = confirmed(weighed, self.standing, self.counsel)
        place, outcome = weighed.place, weighed.outcome
        step = self.procedure.steps[place.step]
        taken = Taken(step=place.step, about=place.about, value=weighed.value, read_back=read_back)
        self._past.append((self.standing, taken))
        out: list[Message] = [taken]
        if weighed.verdict is not None or step.each in SWEPT:
            verdict = weighed.verdict or str(outcome.answer)
            out.append(Finding(step=place.step, about=place.about, verdict=verdict))
        told = self._told(weighed)
        self.standing = standing_after(weighed, self.standing, step, self.library)
        self._interlocks.follow(outcome, step)
        card = asking.card_at(place, self.procedure, self.counsel)
        if card is not None and card.base_on:
            self._interlocks.lose("isolated")
        if card is not None and card.power == "live" and self.standing.overloads(weighed.value):
            self._interlocks.lose("fused")  # whether it is whole still is asked again
        if weighed.suspicion is not None:
            out.append(weighed.suspicion)
        out += told
        if outcome.say is not None:
            out.append(self.say("tell", outcome.say, weighed.value))
        if outcome.conclude is not None:
            self._track.move(Place(ENDED))
            self.concluded = Concluded(
                outcome=outcome.conclude,
                circuit=self.standing.mended_circuits or self.standing.terminal,
                part=self.standing.mended_parts or self.standing.part,
                proved=self.standing.proved,
            )
            return [*out, self.concluded]
        return [*out, *self._go(outcome.go or AGAIN)]

    def _told(self, weighed: Weighed) -> list[Message]:
        """What a reading changed, where that is worth a sentence."""
        after, counsel = weighed.suspicion, self.counsel
        if after is None or counsel is None:
            return []
        before = counsel.suspicion(self.standing.evidence)
        if not worth_saying(before, after, self.style):
            return []
        return [self.say("tell", "{words}", words=after.words)]

    def revise(self, at: str, reading: Reading) -> list[Message] | None:
        """Put another reading in the place of the last of its kind at a terminal; None if there is
        none. What was asked after it stays heard; what is believed is reckoned anew."""
        counsel, hunt = self.counsel, self.procedure.hunt
        if counsel is None:
            return None
        new = revised(self.standing.evidence, counsel.cards(), at, reading)
        if new is None:
            return None
        taken = Taken(step=hunt, about=new.test, value=reading, read_back="confirmed")
        self._past.append((self.standing, taken))
        self.standing = replace(self.standing, evidence=new.evidence)
        suspicion = counsel.suspicion(new.evidence)
        out: list[Message] = [Withdrawn(step=hunt, about=new.test, value=new.old), taken, suspicion]
        if suspicion.words:
            out.append(self.say("tell", "{words}", words=suspicion.words))
        now = leading(suspicion)
        named = self.standing.part is not None and (now is None or now.part != self.standing.part)
        if self.standing.place.step == hunt or named:
            self.standing = replace(self.standing, terminal=None, part=None, fault=None)
            return [*out, *self.jump(hunt)]
        return [*out, self.ask("ask_again")]

    # ── Ways ─────────────────────────────────────────────────────────────────

    def begin(self, profile: str | None = None, style: Style = "usual") -> list[Message]:
        """The first step's messages; a profile given here is not asked for."""
        self.style = style
        if profile is not None:
            self.standing = replace(self.standing, profile=self.library.equipment[profile])
        return self._arrive(self.standing.place)

    def skip(self, command: Command) -> list[Message] | None:
        """Pass over the current step, if it may be; a test that is skipped is not asked again."""
        target = self.step.skip
        if target is None:
            return None
        place, counsel = self.standing.place, self.counsel
        verdict = command.reason or "skipped"
        if counsel is not None and place.about is not None and place.about in counsel.cards():
            self.standing = self.standing.with_evidence(Evidence(test=place.about))
        self.standing = self.standing.with_finding(place, verdict)
        return [Finding(step=place.step, about=place.about, verdict=verdict), *self._go(target)]

    def leave(self) -> Concluded:
        """End the call where it stands, with nothing found out."""
        self.concluded = Concluded(
            outcome="not_found",
            circuit=self.standing.mended_circuits,
            part=self.standing.mended_parts,
        )
        return self.concluded

    def jump(self, step: str) -> list[Message]:
        """Go on at a step whatever the current one is, past its interlocks."""
        place, told = self._resolved(step)
        return [*told, *self._stand_at(place)]

    def elsewhere(self) -> list[Message]:
        """Stand at ohms from C at the board, so that a reading from any terminal has a place."""
        counsel = self.counsel
        if self.card is None or counsel is None:
            return []
        board = f"ohms {self.card.terminal}-C at the board"
        names = [n for n in counsel.cards() if n == board or n.endswith("-C at the board")]
        return self._stand_at(Place(self.procedure.hunt, board if board in names else names[0]))

    def withdraw(self) -> Withdrawn | None:
        """Take back the last value that counted, and stand where it was asked for.

        The interlock that rested on a withdrawn value starts over from its entry.
        """
        if not self._past:
            return None
        self.standing, taken = self._past.pop()
        for interlock in self._interlocks.resting_on(taken.step):
            self._open_again(interlock)
        return Withdrawn(step=taken.step, about=taken.about, value=taken.value)

    def stand(self) -> list[Message]:
        """Ask the current place's question again, or its interlock's if that is open again."""
        wanted = self.standing.place
        if self._missing(wanted) is not None:
            wanted = self._behind_interlocks()
        return self._stand_at(wanted)

    def _stand_at(self, wanted: Place) -> list[Message]:
        place = self._track.put_back(wanted)
        return self._arrive(place, kept_waiting=wanted if place != wanted else None)

    def power_unknown(self) -> None:
        """After a break nothing said about power holds: interlocks start from their entry."""
        self._open_again("dead")

    def _open_again(self, interlock: Interlock) -> None:
        """An interlock starts over, and the call stands at what waited behind it."""
        self._interlocks.open_again(interlock)
        self.standing = replace(self.standing, place=self._behind_interlocks())

    def _behind_interlocks(self) -> Place:
        """The current place, or the one that waits while an interlock is being answered for."""
        if self._interlocks.resting_on(self.standing.place.step):
            return self.standing.parked or self.standing.place
        return self.standing.place

    def _go(self, target: str) -> list[Message]:
        """To a target from the current place, past what needs no asking, as far as open."""
        to, told = self._resolved(target)
        place = self._track.move(to)
        return [*told, *self._arrive(place, kept_waiting=to if place != to else None)]

    def _resolved(self, target: str) -> tuple[Place, list[Message]]:
        """The place that a target means now, and what is told on the way to it."""
        way = self._ways.resolve(target, self.standing, self.counsel)
        self.standing = way.standing
        return way.place, [self.say("tell", text) for text in way.told]

    def _arrive(self, place: Place, kept_waiting: Place | None = None) -> list[Message]:
        out: list[Message] = []
        if kept_waiting is not None:
            interlock = self._missing(kept_waiting)
            assert interlock is not None
            self.standing = replace(self.standing, parked=kept_waiting)
            out.append(Blocked(interlock=interlock, step=kept_waiting.step))
        self.standing = replace(self.standing, place=place)
        step, card = self.step, self.card
        if card is not None and card.where not in asking.HIGH_PLACES:
            self._interlocks.lose("footing")
        out.append(StepEntered(step=place.step, phase=step.phase, about=place.about))
        cautions = (step.caution, None if card is None else self.library.caution(card))
        for text in cautions:
            if text is not None and text not in self._cautioned:
                self._cautioned.add(text)
                out.append(self.say("caution", text))
        out.append(self.ask())
        if self.style == "explain" and step.why not in self._explained:
            self._explained.add(step.why)
            out.insert(-1, self.say("tell", step.why))
        return out

    def _missing(self, place: Place) -> Interlock | None:
        """The first interlock that shuts a place now."""
        if place.step == ENDED:
            return None
        wanted = asking.needs(place, self.standing, self.procedure, self.counsel)
        return self._interlocks.first_missing(wanted)
