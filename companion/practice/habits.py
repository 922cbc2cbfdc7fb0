"""How people talk to a companion, apart from what they read: slips, haste, refusals.

Shares are per utterance where the habit can show. All of them are judgement until calls are on
record to count them in; the misheard share is the design's own test condition.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from companion.diagnosis.likelihood import OL
from companion.sound_alike import sounds_like

HESITATIONS = ("uh", "um", "okay uh", "er well")
"""Before what is said; the last is in no vocabulary and has to be asked again."""
ASIDES = ("wait", "why", "status", "how sure", "what's left", "repeat", "change method")
IN_PLACE_OF_SAFETY = ("yes", "okay", "done", "skip", "skip no time")


@dataclass(frozen=True)
class Habits:
    """Shares of utterances.

    Args:
        misheard: numbers and words that come out of the ears as others.
        misread: displays read wrongly, or read on the wrong terminal; the reader believes them.
        heeds: read-backs that are listened to, so that a misheard value is taken back.
        hesitates: begins with "uh", or breaks off and starts again.
        hurries_safety: safety words answered with something shorter first.
        volunteers: another terminal's reading said before the one asked for.
        impatient: asks, waits, or wants another method in place of answering.
        cannot_reach: tests away from the board that are refused for good.
    """

    misheard: float = 0.0
    misread: float = 0.0
    heeds: float = 1.0
    hesitates: float = 0.0
    hurries_safety: float = 0.0
    volunteers: float = 0.0
    impatient: float = 0.0
    cannot_reach: float = 0.0


STEADY = Habits()
USUAL = Habits(
    misheard=0.02, misread=0.01, heeds=0.9, hesitates=0.06, hurries_safety=0.1, volunteers=0.04,
    impatient=0.05, cannot_reach=0.05,
)  # fmt: skip


def other_number(value: float, rng: random.Random) -> float:
    """Another number of the kind that ears and eyes make of one: teens for tens, a lost point."""
    if value == OL:
        return rng.choice([0.0, 0.1, 11.0])
    swapped = sounds_like(value)
    if swapped is not None:
        return swapped
    return rng.choice([value * 10.0, value / 10.0]) if value else rng.choice([1.0, 8.0])


def hesitant(line: str, rng: random.Random) -> str:
    """The same line with a disfluency in front, or begun twice."""
    words = line.split()
    if len(words) > 1 and rng.random() < 0.3:
        return f"{words[0]} {line}"
    return f"{rng.choice(HESITATIONS)} {line}"
