"""Asking again for what was not understood: plainly, then by choices or digits."""

from __future__ import annotations

from companion.messages import Blocked, Message
from companion.procedure.prompts import UNIT_WANTED
from companion.procedure.walk import Walk
from companion.understood import Answer, NotUnderstood, Reading

MISSES_TO_DIGITS = 2


def asking_again(
    missed: NotUnderstood, misses: int, walk: Walk, question: Message
) -> list[Message]:
    """What is said after a miss.

    Args:
        missed: what was heard, and why it is taken for nothing.
        misses: how many there were in a row, this one counted.
        walk: where the call stands.
        question: what was being asked.
    """
    replies = walk.library.replies
    match missed.reason:
        case "wrong_unit":
            return _wrong_unit(missed, walk)
        case "ambiguous":
            first, second = (_slot(missed.candidates[i]) for i in (0, -1))
            return [walk.say("ask_again", replies.two_choices, first=first, second=second)]
        case "out_of_range":
            return [walk.say("ask_again", replies.out_of_range, missed.candidates[0])]
    if misses >= MISSES_TO_DIGITS and walk.step.quantity is not None:
        return [walk.say("ask_again", replies.digit_by_digit)]
    match missed.reason:
        case "not_asked_here":
            text = replies.words_themselves if walk.step.safety else replies.say_which
            return [walk.say("ask_again", text), question]
        case "unsure":
            return [walk.say("ask_again", replies.unsure)]
    return [walk.say("ask_again", replies.say_again), question]


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
