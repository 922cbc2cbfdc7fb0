"""The talk around the walk: read-back, correction, commands, and asking again.

One thing understood in, messages out. Nothing unsure gets through to the walk: a
value that decides something waits for a "yes", a safety value is said twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from companion.expected import Expectation
from companion.messages import HandOver, Message, Note
from companion.procedure.misses import Misses
from companion.procedure.outcomes import fits
from companion.procedure.shapes import Replies
from companion.procedure.sideways import Sideways
from companion.procedure.walk import Walk
from companion.procedure.weighing import Weighed
from companion.understood import Answer, Command, NotUnderstood, Reading, Understood


class Conversation:
    """A call, turn by turn.

    Args:
        walk: the way through the procedure.
        clarify: replies to what people say in place of a number, by its name.
        said: how each answer is said, by its name.
    """

    def __init__(self, walk: Walk, clarify: Mapping[str, str], said: Mapping[str, str]) -> None:
        self._walk = walk
        self._clarify = clarify
        self._replies: Replies = walk.library.replies
        self._sideways = Sideways(walk, self._replies)
        self._waiting: Weighed | None = None
        self._revision: Command | None = None
        self._held: Literal["no", "stop", "noise", "wait"] = "no"
        self._dictating = False
        self._misses = Misses(walk, said)

    def expectation(self) -> Expectation:
        """What can be taken now."""
        if self._held == "wait":
            return Expectation(step="hold", only=("stop", "work"))
        if self._held != "no":
            closes = self._held == "noise" and self._misses.way_out == "close"
            return Expectation(step="hold", answers=("close_call",) if closes else ())
        repair = {"choices": self._misses.choices, "digits": self._misses.digits}
        expected = self._walk.expectation().model_copy(update=repair)
        if self._dictating:
            return expected.model_copy(update={"dictation": True})
        if self._revision is not None or self._waiting is not None:
            yes_or_no = () if self._said_twice else ("yes", "no")
            answers = (*expected.answers, *yes_or_no)
            return expected.model_copy(update={"answers": answers, "corrects": None})
        return expected

    def resumed(self) -> list[Message]:
        """After a break in the call: power must be proven again."""
        self._waiting, self._revision, self._held, self._dictating = None, None, "no", False
        self._misses.over()
        self._misses.settled()
        self._walk.power_unknown()
        return [self._walk.say("tell", self._replies.resumed), *self._walk.stand()]

    def take(self, understood: Understood) -> list[Message]:
        """Everything that follows from one thing understood."""
        if self._walk.concluded is not None:
            return []
        if isinstance(understood, Command) and understood.name == "stop":
            self._held, self._dictating = "stop", False
            self._waiting, self._revision = None, None
            return [self._walk.say("tell", self._replies.stopped)]
        if self._held != "no":
            return self._while_held(understood)
        if isinstance(understood, NotUnderstood):
            return self._missed(understood)
        self._misses.over()
        if isinstance(understood, Command):
            self._revision = None
            return self._command(understood)
        if self._revision is not None:
            return self._revised(understood)
        return self._value(understood)

    def _while_held(self, understood: Understood) -> list[Message]:
        name = understood.name if isinstance(understood, Command) else None
        if self._held == "wait":
            # The technician talks to somebody else: nothing but being called back is answered.
            return self._go_on() if name == "work" else []
        if name in ("resume", "work"):
            return self._go_on()
        if self._held == "noise":
            if isinstance(understood, Answer):  # only to close is taken here, where it is offered
                return [self._walk.say("tell", self._replies.left_here), self._walk.leave()]
            if isinstance(understood, Command) and name == "skip" and self._misses.way_out == name:
                self._held = "no"
                return self._skip(understood)
            return self._misses.held()
        return [self._walk.say("ask_again", self._replies.on_hold)]

    # ── Values ───────────────────────────────────────────────────────────────

    def _value(self, value: Reading | Answer) -> list[Message]:
        walk, replies, waiting = self._walk, self._replies, self._waiting
        if isinstance(value, Answer) and value.name not in (*walk.step.answers, "landed"):
            if waiting is not None and value.name == "yes":
                return self._accept(waiting, "confirmed")
            if waiting is not None and value.name == "no":
                self._waiting = None
                return [walk.ask("ask_again")]
            return [walk.say("ask_again", self._clarify[value.name])]
        place = walk.place_of(value)
        if place is None:
            return [walk.say("ask_again", replies.cannot_place, at=value.at or ""), walk.ask()]
        weighed = walk.weigh(value, place)
        if not fits(value, weighed.outcome, walk.standing):
            return [walk.say("ask_again", replies.cannot_fit, value), walk.ask("ask_again")]
        if walk.step.safety and isinstance(value, Reading):
            if waiting is None:
                self._waiting = weighed
                return [walk.say("read_back", replies.say_number_again, value)]
            if value.same_value(waiting.value):
                return self._accept(weighed, "said_twice")
            self._waiting = None
            return [walk.say("ask_again", replies.not_the_same), walk.ask("ask_again")]
        if weighed.outcome.decides:
            if waiting is not None and _same(value, waiting.value):
                return self._accept(waiting, "said_twice")
            self._waiting = weighed
            return [self._question()]
        return self._accept(weighed, "said_back")

    def _accept(
        self, weighed: Weighed, read_back: Literal["confirmed", "said_twice", "said_back"]
    ) -> list[Message]:
        self._waiting = None
        self._misses.settled()
        said_back = read_back == "said_back" and isinstance(weighed.value, Reading)
        told = [self._walk.say("read_back", self._replies.value, weighed.value)] * said_back
        return [*told, *self._walk.accept(weighed, read_back)]

    # ── Commands ─────────────────────────────────────────────────────────────

    def _command(self, command: Command) -> list[Message]:
        walk, replies = self._walk, self._replies
        match command.name:
            case "note" if self._dictating:
                self._dictating = False
                note = Note(text=command.said, clip=command.clip)
                return [note, walk.say("tell", replies.noted), walk.ask()]
            case "note":
                self._dictating = True
                return [walk.say("ask", replies.go_ahead)]
            case "correction":
                return self._correct(command)
            case "revise":
                self._waiting, self._revision = None, command
                return [walk.say("read_back", replies.revise, command.reading,
                                 at=command.at or "")]  # fmt: skip
            case "back":
                return self._back()
            case "skip":
                return self._skip(command)
            case "wait":
                self._held, self._waiting = "wait", None
                return [walk.say("tell", replies.waiting)]
            case "hand_over":
                return self._hand_over()
            case "method":
                return self._change_method()
            case "else":
                self._waiting = None
                after = walk.elsewhere() or [walk.ask("ask_again")]
                return [*after[:-1], walk.say("ask", replies.something_else)]
        aside = self._sideways.answer(command, self.expectation())
        return [*(aside or []), self._question()]

    def _question(self) -> Message:
        """What is being asked right now: the step, or whether a value was heard right."""
        if self._waiting is None:
            return self._walk.ask("ask_again")
        twice, replies = self._said_twice, self._replies
        text = replies.say_number_again if twice else replies.is_that_right
        return self._walk.say("read_back", text, self._waiting.value)

    @property
    def _said_twice(self) -> bool:
        """Whether "yes" is not enough for what waits: a number that an interlock rests on, or one
        that ends the call."""
        waiting = self._waiting
        if waiting is None or not isinstance(waiting.value, Reading):
            return self._walk.step.safety
        return self._walk.step.safety or waiting.outcome.conclude is not None

    def _skip(self, command: Command) -> list[Message]:
        walk, replies = self._walk, self._replies
        self._waiting = None
        after = walk.skip(command)
        if after is None:
            return [walk.say("refuse", replies.cannot_skip), walk.ask("ask_again")]
        return [walk.say("tell", replies.skipped), *after]

    def _change_method(self) -> list[Message]:
        walk = self._walk
        if "means" not in walk.standing.settings:
            return [walk.say("refuse", self._replies.no_method_yet), walk.ask("ask_again")]
        self._waiting = None
        return walk.jump(walk.procedure.method)

    def _hand_over(self) -> list[Message]:
        """Whoever comes now proves power for himself, and hears how things stand."""
        walk = self._walk
        out: list[Message] = [HandOver(step=walk.standing.place.step)]
        brief = self._sideways.answer(Command(name="summary"), self.expectation()) or []
        self._waiting = None
        walk.power_unknown()
        return [*out, walk.say("tell", self._replies.handed_over), *brief, *walk.stand()]

    def _correct(self, command: Command) -> list[Message]:
        value = command.reading or command.answer
        if self._waiting is not None:
            self._waiting = None
            return [self._walk.ask("ask_again")] if value is None else self._value(value)
        withdrawn = self._walk.withdraw()
        if withdrawn is None:
            return [self._walk.say("tell", self._replies.nothing_to_correct)]
        after = self._walk.stand()
        if value is None or self._walk.standing.place.step != withdrawn.step:
            return [withdrawn, *after]
        told = self._walk.say("tell", self._replies.corrected)
        return [withdrawn, told, *self._value(value)]

    def _revised(self, answer: Reading | Answer) -> list[Message]:
        """A revision counts only once it was confirmed."""
        command, self._revision = self._revision, None
        assert command is not None
        assert command.reading is not None
        again = isinstance(answer, Reading) and answer.same_value(command.reading)
        if not (again or (isinstance(answer, Answer) and answer.name == "yes")):
            return [self._walk.ask("ask_again")]
        after = self._walk.revise(command.at or "", command.reading)
        if after is None:
            return [self._walk.say("tell", self._replies.nothing_to_correct), self._question()]
        return [self._walk.say("tell", self._replies.corrected), *after]

    def _back(self) -> list[Message]:
        if self._waiting is not None:
            self._waiting = None
            return [self._walk.ask("ask_again")]
        withdrawn = self._walk.withdraw()
        if withdrawn is None:
            told = self._walk.say("tell", self._replies.back_is_start)
            return [told, self._walk.ask("ask_again")]
        told = self._walk.say("tell", self._replies.went_back)
        return [withdrawn, told, *self._walk.stand()]

    def _go_on(self) -> list[Message]:
        """Out of a hold. After "stop" power may have changed; after noise or a wait it has not."""
        if self._held == "stop":
            return self.resumed()
        held, self._held = self._held, "no"
        if held == "noise":
            return self._misses.after_hold(self._question())
        return [self._question()]

    def _missed(self, missed: NotUnderstood) -> list[Message]:
        """Ask again, or hold after too many misses. Silence is not answered."""
        if missed.reason == "nothing_heard":
            return []
        again = self._misses.missed(missed, self._question())
        if again is None:
            self._held = "noise"
            return self._misses.held()
        return again


def _same(value: Reading | Answer, other: Reading | Answer) -> bool:
    if isinstance(value, Reading):
        return value.same_value(other)
    return isinstance(other, Answer) and (value.name, value.terminals) == (
        other.name, other.terminals
    )  # fmt: skip
