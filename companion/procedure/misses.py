"""Asking again for what was not understood: plainly, by two choices, digit by digit, then a hold.

A hold in the same place again offers a way out of it: to skip, or to close the call.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from companion.messages import Blocked, Message
from companion.procedure.prompts import UNIT_WANTED
from companion.procedure.standing import Place
from companion.procedure.walk import Walk
from companion.sound_alike import sounds_like
from companion.understood import Answer, NotUnderstood, Reading

MISSES_TO_HOLD = 4
HOLDS_TO_CLOSE = 2  # at one place; from then on a call that can't go on there may be closed
_OPTIONS_SAID = 4
_SIZES = (1e-3, 1.0, 1e3, 1e6)  # what is said before a unit's prefix lies in one of these


class Misses:
    """What was missed in a row, and what it is answered with.

    Args:
        walk: where the call stands.
        said: how each answer is said, by its name.
    """

    def __init__(self, walk: Walk, said: Mapping[str, str]) -> None:
        self._walk, self._said = walk, said
        self._count = 0
        self._heard: list[Reading | Answer] = []  # what it may have been, unsure each time
        self._held_at: tuple[Place, int] | None = None
        self.choices: tuple[Reading | Answer, ...] = ()
        self.digits = False

    def over(self) -> None:
        """Something was understood, so that what comes next is asked plainly."""
        self._count, self._heard, self.choices, self.digits = 0, [], (), False

    def settled(self) -> None:
        """A value was taken: a hold here begins from the first again."""
        self._held_at = None

    @property
    def way_out(self) -> Literal["skip", "close"] | None:
        """What there is to say in a hold but to go on."""
        if self._walk.step.skip is not None:
            return "skip"
        held = self._held_at
        here = held is not None and held[0] == self._walk.standing.place
        return "close" if here and held is not None and held[1] >= HOLDS_TO_CLOSE else None

    def missed(self, missed: NotUnderstood, question: Message) -> list[Message] | None:
        """What is said after a miss; None where it is time to hold.

        Args:
            missed: what was heard, and why it is taken for nothing.
            question: what was being asked.
        """
        self._count += 1
        if self._count >= MISSES_TO_HOLD:
            self._hold()
            return None
        if missed.reason == "unsure":
            self._heard += missed.candidates
        offered, self.choices = self.choices, ()
        pair = None if offered else self._pair(missed)
        if pair is not None:
            self.choices, self.digits = pair, False
            first, second = map(_slot, pair)
            replies = self._walk.library.replies
            return [self._walk.say("ask_again", replies.two_choices, first=first, second=second)]
        return self._asked_again(missed, question)

    def after_hold(self, question: Message) -> list[Message]:
        """The question once more; of a number the digits, since the whole of it was missed."""
        self.over()
        if self._walk.step.quantity is None:
            return [question]
        self.digits = True
        return [question, self._walk.say("ask_again", self._walk.library.replies.digit_by_digit)]

    def held(self) -> list[Message]:
        """What is said in a hold."""
        replies = self._walk.library.replies
        told = {"skip": replies.held_or_skip, "close": replies.held_or_close, None: replies.held}
        return [self._walk.say("tell", told[self.way_out])]

    def _hold(self) -> None:
        place, held = self._walk.standing.place, self._held_at
        self.over()
        self._held_at = place, 1 if held is None or held[0] != place else held[1] + 1

    def _asked_again(self, missed: NotUnderstood, question: Message) -> list[Message]:
        walk, replies = self._walk, self._walk.library.replies
        if missed.reason == "wrong_unit":
            return _wrong_unit(missed, walk)
        first = self._count == 1 and not self.digits
        if first and missed.reason == "out_of_range":
            return [walk.say("ask_again", replies.out_of_range, missed.candidates[0])]
        if not first and walk.step.quantity is not None:
            self.digits = True
            return [walk.say("ask_again", replies.digit_by_digit)]
        if first and missed.reason == "unsure":
            return [walk.say("ask_again", replies.unsure)]
        if not first and walk.step.answers:
            said = [self._said[name] for name in walk.step.answers[:_OPTIONS_SAID]]
            return [walk.say("ask_again", replies.one_of, options=", ".join(said)), question]
        if missed.reason == "not_asked_here":
            text = replies.words_themselves if walk.step.safety else replies.say_which
            return [walk.say("ask_again", text), question]
        return [walk.say("ask_again", replies.say_again), question]

    def _pair(self, missed: NotUnderstood) -> tuple[Reading | Answer, ...] | None:
        """Two that it may have been; None if nothing says which two."""
        if missed.reason == "ambiguous":
            return missed.candidates[0], missed.candidates[-1]
        if self._count == 1 or missed.reason != "unsure":
            return None
        heard = [h for h in self._heard if isinstance(h, Reading)]
        if not heard:
            return None
        last = heard[-1]
        other = next((h for h in heard if not h.same_value(last)), _sounds_like(last))
        wanted = self._walk.step
        if other is None or other.value_si is None or last.value_si is None:
            return None
        inside = wanted.least <= other.value_si <= wanted.most
        return (last, other) if inside and other.quantity == wanted.quantity else None


def _sounds_like(reading: Reading) -> Reading | None:
    """The ten of a teen and the teen of a ten: fifteen and fifty."""
    for size in _SIZES:
        number = round((reading.value_si or 0.0) / size, 6)
        if not 13.0 <= number < 1000.0:
            continue
        pair = int(number) % 100
        other = sounds_like(pair)
        if other is not None:
            return reading.model_copy(update={"value_si": (number - pair + other) * size})
    return None


def _wrong_unit(missed: NotUnderstood, walk: Walk) -> list[Message]:
    quantity = walk.step.quantity
    value = missed.candidates[0]
    assert quantity is not None
    out: list[Message] = []
    ohms = isinstance(value, Reading) and value.quantity == "resistance"
    if ohms and walk.step.power != "dead":
        out.append(Blocked(interlock="dead", step=walk.standing.place.step))
        out.append(walk.say("refuse", walk.library.replies.blocked_ohms))
    wanted = UNIT_WANTED[quantity]
    return [*out, walk.say("ask_again", walk.library.replies.wrong_unit, value, unit=wanted)]


def _slot(value: Reading | Answer) -> str | Reading:
    return value if isinstance(value, Reading) else str(value)
