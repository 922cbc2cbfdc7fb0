"""Commands that leave the call where it is: how things stand, how to speak, what if."""

from __future__ import annotations

from companion.expected import Expectation
from companion.messages import Manner, Mark, Message, Style, Styled
from companion.procedure.evidence import by_part
from companion.procedure.prompts import UNIT_WANTED
from companion.procedure.shapes import Replies
from companion.procedure.walk import Walk
from companion.procedure.ways import swept
from companion.understood import Command

PACE_STEP, LOUDNESS_STEP = 1.2, 1.5
SUSPECTS_SAID = 3


class Sideways:
    """Answers to what is asked beside the step's question.

    Args:
        walk: the call.
        replies: what is said outside the steps.
    """

    def __init__(self, walk: Walk, replies: Replies) -> None:
        self._walk, self._replies = walk, replies
        self._manner = Manner()

    def answer(self, command: Command, expected: Expectation) -> list[Message] | None:
        """What follows from a command of this kind; None if it is of another."""
        walk, replies = self._walk, self._replies
        match command.name:
            case "why":
                return [walk.say("tell", walk.step.why)]
            case "more":
                return [walk.say("tell", walk.step.why), *self._belief()]
            case "how_sure":
                return self._belief() or [walk.say("tell", replies.no_belief)]
            case "status":
                text = replies.status_named if walk.standing.part else replies.status
                return [walk.say("tell", text, phase=walk.step.phase)]
            case "left":
                return [walk.say("tell", replies.left, left=self._left())]
            case "summary":
                return [walk.say("tell", replies.summary, findings=self._findings()),
                        *self._belief()]  # fmt: skip
            case "options":
                return [walk.say("tell", replies.options, options=_options(expected))]
            case "mark":
                return [Mark(step=walk.standing.place.step), walk.say("tell", replies.marked)]
            case "slower" | "faster" | "louder" | "softer":
                return self._speak(command.name)
            case "brief" | "explain":
                style: Style = "usual" if walk.style == command.name else command.name
                walk.style = style
                return [Styled(style=style), walk.say("tell", getattr(replies, f"style_{style}"))]
            case "how_far" | "should_read" | "can_carry":
                return [self._asked(command)]
        return None

    def _belief(self) -> list[Message]:
        """The likeliest parts with their chances, and what does not fit."""
        counsel, standing = self._walk.counsel, self._walk.standing
        if counsel is None or not standing.evidence:
            return []
        suspicion = counsel.suspicion(standing.evidence)
        said = [f"{s.part} {round(100 * s.chance)} %" for s in by_part(suspicion)[:SUSPECTS_SAID]]
        told = self._walk.say("tell", self._replies.how_sure, suspects=", ".join(said))
        out: list[Message] = [told]
        if suspicion.odd and suspicion.words:
            out.append(self._walk.say("tell", "{words}", words=suspicion.words))
        return out

    def _left(self) -> str:
        """Circuits that nothing was read of yet, while hunting; else what is still to be done."""
        walk, standing = self._walk, self._walk.standing
        if walk.card is None or walk.counsel is None:
            return ", ".join(standing.unfinished) or f"the rest of: {walk.step.phase}"
        cards = walk.counsel.cards()
        read = {cards[e.test].terminal for e in standing.evidence if e.test in cards}
        return ", ".join(t for t in swept(standing) if t not in read) or "no circuit unread"

    def _findings(self) -> str:
        standing = self._walk.standing
        facts = [f"{name.replace('_', ' ')} {reading}" for name, reading in standing.facts.items()]
        read = [f"{e.test} {e.value}" for e in standing.evidence if e.value is not None]
        return "; ".join([*facts, *read[-SUSPECTS_SAID:]]) or "nothing read yet"

    def _speak(self, how: str) -> list[Message]:
        manner = self._manner
        pace = {"slower": 1 / PACE_STEP, "faster": PACE_STEP}.get(how, 1.0) * manner.pace
        loud = {"louder": LOUDNESS_STEP, "softer": 1 / LOUDNESS_STEP}.get(how, 1.0)
        self._manner = Manner(
            pace=min(max(pace, 0.5), 2.0),
            loudness=min(max(loud * manner.loudness, 0.1), 4.0),
        )
        return [self._manner]

    def _asked(self, command: Command) -> Message:
        walk = self._walk
        counsel, standing = walk.counsel, walk.standing
        if counsel is None:
            return walk.say("tell", self._replies.no_belief)
        if command.name == "how_far":
            answer = counsel.how_far(standing.evidence)
        elif command.name == "can_carry" and command.reading and command.reading.value_si:
            answer = counsel.can_carry(command.reading.value_si)
        else:
            about = command.at or (walk.card.terminal if walk.card else None) or standing.terminal
            answer = self._replies.no_belief if about is None else counsel.should_read(about)
        return walk.say("tell", "{answer}", answer=answer)


def _options(expected: Expectation) -> str:
    said = [name.replace("_", " ") for name in expected.answers]
    if expected.quantity is not None:
        said.insert(0, f"a number of {UNIT_WANTED[expected.quantity]}")
    return ", ".join(said)
