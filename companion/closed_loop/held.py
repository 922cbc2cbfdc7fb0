"""Whole calls with a simulated technician in a simulated house, to measure the companion by.

The technician hears prompts and answers in words; what he says goes through the interpreter, the
procedure and the reasoner as in a real call. Nothing of what is hidden reaches them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from time import perf_counter
from typing import Literal

from companion.closed_loop.watch import Watch
from companion.messages import (
    Blocked,
    CallOpened,
    Concluded,
    Message,
    Prompt,
    StepEntered,
    Taken,
)
from companion.practice import Asked, House, Technician
from companion.practice.hands import Wants
from companion.procedure import CounselFor
from companion.procedure.shapes import Replies
from companion.turns import Dialogs, Turns, kept_counsel
from companion.understood import NotUnderstood, Utterance

MOST_TURNS = 400
MOST_MISSED = 24  # lines in a row that were not understood; then anybody hangs up
Heard = Callable[[str, Turns], Utterance | None]


@dataclass
class Outcome:
    """How a call went."""

    lines: list[str] = field(default_factory=list)
    messages: list[Message] = field(default_factory=list)
    concluded: Concluded | None = None
    tests: int = 0
    asked_again: int = 0
    blocked: int = 0
    breaches: list[str] = field(default_factory=list)
    missed: int = 0
    turn_s: list[float] = field(default_factory=list)
    fault: str = ""

    def doubted(self) -> int:
        """How often a test was asked for once more right after its reading was confirmed."""
        found, last = 0, None
        for message in self.messages:
            if isinstance(message, Taken):
                confirmed = message.about is not None and message.read_back != "said_back"
                last = message.about if confirmed else None
            elif isinstance(message, StepEntered):
                found += last is not None and message.about == last
                last = None
        return found

    def reached(self, house: House) -> bool:
        """Whether the call ended repaired, with what was hidden mended and named."""
        ended = self.concluded
        return ended is not None and ended.outcome == "repaired" and house.mended


NO_DOUBT: Mapping[str, float] = {"usual": 0.0, "safety": 0.0}


def opened(dialogs: Dialogs, floor: Mapping[str, float] = NO_DOUBT) -> CallOpened:
    """The first record of a call."""
    return CallOpened(
        call_id="closed loop", procedure=dialogs.library.procedure.id, profile=None,
        dialogs_digest=dialogs.library.digest, model="none", source="typed",
        floor=dict(floor),
    )  # fmt: skip


def typed(line: str, turns: Turns) -> Utterance | None:
    """What is said, heard word for word."""
    return Utterance(text=line, source="typed")


def run(
    dialogs: Dialogs,
    technician: Technician,
    counsel: CounselFor = kept_counsel,
    heard: Heard = typed,
    floor: Mapping[str, float] = NO_DOUBT,
) -> Outcome:
    """One call from arrival to its end, or to ``MOST_TURNS``; watched from outside.

    Args:
        dialogs: what can be said and done.
        technician: with the house that he stands in.
        counsel: gives the reasoner.
        heard: what the ears make of a line; None where nothing was heard.
        floor: word confidence under which they are not trusted.
    """
    turns = Turns(dialogs, opened(dialogs, floor), counsel)
    done, watch = Outcome(), Watch(dialogs.library.procedure)
    latest = turns.begin()
    done.messages += latest
    while turns.concluded is None and len(done.lines) < MOST_TURNS and done.missed < MOST_MISSED:
        line = technician.reply(_asked(turns, latest, dialogs.library.replies))
        done.lines.append(line)
        utterance = heard(line, turns)
        if utterance is None:
            done.asked_again += 1
            done.missed += 1
            latest = []
            continue
        begun = perf_counter()
        understood = turns.understand(utterance)
        latest = turns.take(understood)
        done.turn_s.append(perf_counter() - begun)
        again = isinstance(understood, NotUnderstood)
        done.asked_again += again
        done.missed = done.missed + 1 if again else 0
        done.messages += [understood, *latest]
        done.blocked += sum(isinstance(m, Blocked) for m in latest)
        breach = watch.see(understood, latest, turns.walk)
        done.breaches += [] if breach is None else [f"line {len(done.lines)}: {breach}"]
    done.concluded, done.tests = turns.concluded, technician.tests
    return done


def _asked(turns: Turns, latest: Sequence[Message], replies: Replies) -> Asked:
    """What the companion wants, by what it last said."""
    walk = turns.walk
    place, standing = walk.standing.place, walk.standing
    said = {message.template for message in latest if isinstance(message, Prompt)}
    wants: Wants = "answer"
    way_out: Literal["skip", "close"] | None = None
    if said & {replies.held, replies.on_hold, replies.stopped}:
        wants = "resume"
    elif said & {replies.held_or_skip, replies.held_or_close}:
        wants, way_out = "resume", "skip" if replies.held_or_skip in said else "close"
    elif said & {replies.digit_by_digit, replies.two_choices}:
        wants = "digits"
    elif replies.one_of in said:
        wants = "options"
    elif said & {replies.is_that_right, replies.revise}:
        wants = "yes"
    elif replies.say_number_again in said:
        wants = "again"
    return Asked(
        step=place.step,
        about=place.about or standing.terminal,
        card=walk.card,
        part=standing.part,
        power=walk.step.power,
        wants=wants,
        way_out=way_out,
        took=any(isinstance(message, Taken) for message in latest),
    )
