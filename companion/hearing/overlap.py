"""What counts of the words heard while the companion itself speaks."""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable
from typing import Literal

import numpy as np

from companion.hearing.echo import Saying, WithoutEcho
from companion.hearing.recogniser import Ear
from companion.hearing.source import RATE, Block, Samples

STOP = "stop"

_PACE_S = 0.6
_LATELY_S = 2.5
_ROOM_S = 0.25
_LATE_S = 0.3  # the recogniser puts words early by as much
_SHARE = 0.2
_JUST_NOW_S, _SHARE_JUST_NOW = 1.2, 0.15
_SURE = 2.0
_SHARE_THROUGH = 0.3
_HALF = 0.5
_BEGINNING_S = 0.4
_BEFORE_S = 0.35  # it is known to be louder only after it has been so for a moment
_ONE_WORD_S = 0.8

Whose = Literal["technician's", "companion's", "unclear"]


def _among(word: str, said: frozenset[str]) -> bool:
    return any(one.startswith(word) for one in said)


class Overlap:
    """Tells the technician's words from the companion's own, and when to give way.

    A word is the companion's if all that the microphone heard then was the loudspeaker; of a
    word that it was just saying, the microphone must have heard somebody else more surely.
    "Stop" is always the technician's unless the companion was just saying it. Without an
    echo canceller nobody can tell, and only "stop" cuts in: any other word may be an echo
    that was heard wrong.

    Args:
        saying: what the companion says.
        canceller: what takes its voice out of the sound.
    """

    def __init__(self, saying: Saying, canceller: WithoutEcho | None = None) -> None:
        self._saying, self._canceller = saying, canceller

    @property
    def cancelled(self) -> bool:
        """Whether the companion's voice is taken out of the sound."""
        return self._canceller is not None

    def speaking(self, at_s: float) -> bool:
        """Whether the companion could be heard at that moment, its echo in the room included."""
        return self._saying.busy(at_s - _ROOM_S)

    def whose(self, word: str, start_s: float, end_s: float) -> Whose:
        """Who said a word that was recognised, by the steady clock at its start and end."""
        if not self.speaking(start_s + _LATE_S):
            return "technician's"
        said = self._saying.words_between(start_s - _PACE_S, end_s + _PACE_S)
        if not _owned(word, said, self._share(start_s, end_s + _LATE_S, _SHARE)):
            return "technician's"
        if self._canceller is None:
            return "companion's"
        return "unclear" if self.somebody(start_s, end_s + _LATE_S) else "companion's"

    def somebody(self, start_s: float, end_s: float) -> bool:
        """Whether somebody else spoke under the companion's voice, whatever was understood."""
        if self._canceller is None:
            return False
        through = self._canceller.through_between(start_s, end_s)
        return through + self._canceller.swallowed_between(start_s, end_s) >= _SHARE_THROUGH

    def missed(self, start_s: float) -> bool:
        """Whether somebody spoke just before a word, under the companion's voice, in vain.

        Of a voice under a loud echo next to nothing comes through; but next to nothing is more
        than nothing.
        """
        if self._canceller is None:
            return False
        stirs = self._canceller.stirs_between(start_s - _BEGINNING_S, start_s)
        return stirs >= _SHARE or self.somebody(start_s - _BEGINNING_S, start_s)

    def drowned(self, start_s: float, end_s: float) -> bool:
        """Whether a word was said under an echo so loud that part of it went with that."""
        if self._canceller is None:
            return False
        return self._canceller.drowned_between(start_s + _LATE_S, end_s) > _HALF

    def technicians_text(self, text: str, now_s: float) -> str:
        """The same for words heard so far, whose times are not known yet."""
        said = self._saying.words_between(now_s - _LATELY_S, now_s + _PACE_S)
        share = self._share(now_s - _JUST_NOW_S, now_s, _SHARE_JUST_NOW)
        return " ".join(word for word in text.split() if not _owned(word, said, share))

    def _share(self, start_s: float, end_s: float, enough: float) -> float | None:
        """How much of that time somebody else spoke, 1 being enough to believe it."""
        if self._canceller is None:
            return None
        return self._canceller.left_between(start_s, end_s) / enough

    def says_stop(self, now_s: float) -> bool:
        """Whether the companion itself was just saying "stop", or "stopped"."""
        return _among(STOP, self._saying.words_between(now_s - _LATELY_S, now_s + _PACE_S))

    def louder_lately(self, now_s: float) -> bool:
        """Whether it was just now louder than the companion usually is here.

        Where it is hardly heard at all nothing has to be heard through it: there only if what
        was louder has been taken for an echo.
        """
        canceller = self._canceller
        if canceller is None:
            return False
        of = canceller.swallowed_between if canceller.faint else canceller.perhaps_between
        return of(now_s - _JUST_NOW_S, now_s) >= _SHARE_JUST_NOW

    def cuts_in(self, text: str, meaning: Callable[[str], bool]) -> bool:
        """Fall silent if the technician's words are "stop", or mean something here."""
        if STOP in text.split() or (self.cancelled and bool(text) and meaning(text)):
            self._saying.cut()
            return True
        return False


class StopUnder:
    """Listens for "stop" in sound that has the companion's voice in it.

    A canceller can take a short word for an echo, so the sound as it came is listened to as
    well, and believed where it is louder than the companion usually is: by an ear that hears all
    of it, and by a fresh one from there on. The first goes on hearing the companion in what
    follows its voice; the second may begin in the middle of the word.

    Args:
        overlap: what the companion says, and how loud.
        build: a fresh recogniser.
    """

    def __init__(self, overlap: Overlap, build: Callable[[], Ear]) -> None:
        self._overlap, self._build = overlap, build
        self._all = _Stops(build())
        self._fresh: _Stops | None = None
        self._before: deque[Samples] = deque()
        self._louder_s = float("-inf")

    def __call__(self, block: Block) -> bool:
        """Take the newest sound; whether the technician's "stop" is in it."""
        if block.raw is None:
            return False
        own = self._overlap.says_stop(block.at_s)
        louder = self._overlap.louder_lately(block.at_s)
        in_all = self._all(block.raw, own)
        in_fresh = self._listening(block.at_s, block.raw, own, louder)
        return louder and (in_all or in_fresh)

    def _listening(self, at_s: float, sound: Samples, own: bool, louder: bool) -> bool:
        if louder:
            self._louder_s = at_s
            if self._fresh is None:
                self._fresh = _Stops(self._build())
                sound = np.concatenate([*self._before, sound])
        elif at_s > self._louder_s + _ONE_WORD_S:
            self._fresh = None
        if self._fresh is not None:
            self._before.clear()
            return self._fresh(sound, own)
        self._before.append(sound)
        while sum(map(len, self._before)) > _BEFORE_S * RATE:
            self._before.popleft()
        return False


class _Stops:
    """Whether an ear has heard a "stop" that the companion did not say itself.

    What the companion said of it stays among the words heard so far, and counts no more.
    """

    def __init__(self, ear: Ear) -> None:
        self._ear, self._own = ear, 0

    def __call__(self, sound: Samples, own: bool) -> bool:
        self._ear.AcceptWaveform(sound.tobytes())
        stops = json.loads(self._ear.PartialResult())["partial"].split().count(STOP)
        self._own = stops if own else min(self._own, stops)
        return bool(stops > self._own)


def _owned(word: str, said: frozenset[str], share: float | None) -> bool:
    """Whether a word is an echo, from what was said and whether anybody else spoke."""
    if not _among(word, said):
        return word != STOP and share is not None and share < 1.0
    return share is None or share < _SURE
