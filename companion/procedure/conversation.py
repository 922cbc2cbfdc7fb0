"""The talk around the walk: read-back, correction, commands, and asking again.

One thing understood in, messages out. Nothing unsure gets through to the walk: a
value that decides something waits for a "yes", a safety value is said twice.
"""

from __future__ import annotations

from typing import Literal

from companion.messages import (
    Answer,
    Blocked,
    Command,
    Expectation,
    Message,
    Note,
    NotUnderstood,
    Reading,
    Understood,
)
from companion.procedure.prompts import UNIT_WANTED
from companion.procedure.shapes import Replies
from companion.procedure.walk import Walk
from companion.procedure.weighing import Weighed

MISSES_TO_DIGITS = 2
MISSES_TO_HOLD = 4


class Conversation:
    """A call, turn by turn.

    Args:
        walk: the way through the procedure.
        clarify: replies to what people say in place of a number, by its name.
    """

    def __init__(self, walk: Walk, clarify: dict[str, str]) -> None:
        self._walk = walk
        self._clarify = clarify
        self._replies: Replies = walk.library.replies
        self._waiting: Weighed | None = None
        self._held = False
        self._stopped = False
        self._dictating = False
        self._misses = 0

    def expectation(self) -> Expectation:
        """What can be taken now."""
        expected = self._walk.expectation()
        if self._held:
            return Expectation(step="hold")
        if self._dictating:
            return expected.model_copy(update={"dictation": True})
        if self._waiting is not None:
            yes_or_no = () if self._walk.step.safety else ("yes", "no")
            answers = (*expected.answers, *yes_or_no)
            return expected.model_copy(update={"answers": answers, "corrects": None})
        return expected

    def resumed(self) -> list[Message]:
        """After a break in the call: power must be proven again."""
        self._waiting, self._held, self._stopped, self._dictating = None, False, False, False
        self._misses = 0
        self._walk.power_unknown()
        return [self._walk.say("tell", self._replies.resumed), *self._walk.stand()]

    def take(self, understood: Understood) -> list[Message]:
        """Everything that follows from one thing understood."""
        if self._walk.concluded is not None:
            return []
        if isinstance(understood, Command) and understood.name == "stop":
            self._held, self._stopped, self._dictating, self._waiting = True, True, False, None
            return [self._walk.say("tell", self._replies.stopped)]
        if self._held:
            if isinstance(understood, Command) and understood.name == "resume":
                return self._go_on()
            return [self._walk.say("ask_again", self._replies.on_hold)]
        if isinstance(understood, NotUnderstood):
            return self._missed(understood)
        self._misses = 0
        if isinstance(understood, Command):
            return self._command(understood)
        return self._value(understood)

    # ── Values ───────────────────────────────────────────────────────────────

    def _value(self, value: Reading | Answer) -> list[Message]:
        walk, replies, waiting = self._walk, self._replies, self._waiting
        if isinstance(value, Answer) and value.name not in walk.step.answers:
            if waiting is not None and value.name == "yes":
                return self._accept(waiting, "confirmed")
            if waiting is not None and value.name == "no":
                self._waiting = None
                return [walk.ask("ask_again")]
            return [walk.say("ask_again", self._clarify[value.name])]
        weighed = walk.weigh(value)
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
            return [walk.say("read_back", replies.is_that_right, value)]
        return self._accept(weighed, "said_back")

    def _accept(
        self, weighed: Weighed, read_back: Literal["confirmed", "said_twice", "said_back"]
    ) -> list[Message]:
        self._waiting = None
        after = self._walk.accept(weighed, read_back)
        if read_back == "said_back" and isinstance(weighed.value, Reading):
            return [self._walk.say("read_back", self._replies.value, weighed.value), *after]
        return after

    # ── Commands ─────────────────────────────────────────────────────────────

    def _command(self, command: Command) -> list[Message]:
        walk, replies = self._walk, self._replies
        match command.name:
            case "note" if self._dictating:
                self._dictating = False
                return [Note(text=command.said), walk.say("tell", replies.noted), walk.ask()]
            case "note":
                self._dictating = True
                return [walk.say("ask", replies.go_ahead)]
            case "correction":
                return self._correct(command)
            case "back":
                return self._back()
            case "skip":
                self._waiting = None
                after = walk.skip()
                if after is None:
                    return [walk.say("refuse", replies.cannot_skip), walk.ask("ask_again")]
                return [walk.say("tell", replies.skipped), *after]
            case "why":
                return [walk.say("tell", walk.step.why), walk.ask("ask_again")]
            case "status":
                named = walk.standing.circuit is not None
                text = replies.status_named if named else replies.status
                return [walk.say("tell", text, phase=walk.step.phase), walk.ask("ask_again")]
            case "options":
                return [walk.say("tell", replies.options, options=self._options())]
        return [self._question()]  # repeat; resume when nothing is held

    def _question(self) -> Message:
        """What is being asked right now: the step, or whether a value was heard right."""
        if self._waiting is None:
            return self._walk.ask("ask_again")
        safety = self._walk.step.safety
        text = self._replies.say_number_again if safety else self._replies.is_that_right
        return self._walk.say("read_back", text, self._waiting.value)

    def _options(self) -> str:
        expected = self.expectation()
        said = [name.replace("_", " ") for name in expected.answers]
        if expected.quantity is not None:
            said.insert(0, f"a number of {UNIT_WANTED[expected.quantity]}")
        return ", ".join(said)

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
        """Out of a hold. After "stop" power may have changed; after mere noise it has not."""
        if self._stopped:
            return self.resumed()
        self._held, self._misses = False, 0
        return [self._question()]

    # ── Not understood ───────────────────────────────────────────────────────

    def _missed(self, missed: NotUnderstood) -> list[Message]:
        """Ask again: plainly, then by two choices or digit by digit, then hold."""
        walk, replies = self._walk, self._replies
        self._misses += 1
        if self._misses >= MISSES_TO_HOLD:
            self._held, self._stopped = True, False
            return [walk.say("tell", replies.held)]
        if missed.reason == "wrong_unit":
            return self._wrong_unit(missed)
        if missed.reason == "ambiguous":
            first, second = missed.candidates[0], missed.candidates[-1]
            return [
                walk.say("ask_again", replies.two_choices, first=_slot(first), second=_slot(second))
            ]
        if missed.reason == "out_of_range":
            value = missed.candidates[0]
            return [walk.say("ask_again", replies.out_of_range, value)]
        if self._misses >= MISSES_TO_DIGITS and walk.step.quantity is not None:
            return [walk.say("ask_again", replies.digit_by_digit)]
        if missed.reason == "not_asked_here":
            text = replies.words_themselves if walk.step.safety else replies.say_which
            return [walk.say("ask_again", text), self._question()]
        if missed.reason == "unsure":
            return [walk.say("ask_again", replies.unsure)]
        return [walk.say("ask_again", replies.say_again), self._question()]

    def _wrong_unit(self, missed: NotUnderstood) -> list[Message]:
        walk = self._walk
        quantity = walk.step.quantity
        value = missed.candidates[0]
        assert quantity is not None
        out: list[Message] = []
        ohms = isinstance(value, Reading) and value.quantity == "resistance"
        if ohms and walk.step.power != "dead":
            out.append(Blocked(interlock="dead", step=walk.standing.place.step))
            out.append(walk.say("refuse", self._replies.blocked_ohms))
        wanted = UNIT_WANTED[quantity]
        return [*out, walk.say("ask_again", self._replies.wrong_unit, value, unit=wanted)]


def _slot(value: Reading | Answer) -> str | Reading:
    return value if isinstance(value, Reading) else str(value)


def _same(value: Reading | Answer, other: Reading | Answer) -> bool:
    if isinstance(value, Reading):
        return value.same_value(other)
    return isinstance(other, Answer) and value.name == other.name
