"""Words as the recogniser gives them, and when they have ended, lasted, or were let go."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import BaseModel

from companion.hearing.ears import Meaning, Settled
from companion.hearing.pauses import Pause
from companion.hearing.source import RATE, Block, Samples

_STEADY_S = 0.24
_PAUSE_S = 0.45  # between the words of a number there is up to 0.3
_CONTEXT = 20  # blocks
_LASTING_S = 0.2
_LONG_AGO_S, _MOMENT_S = 2.0, 0.6


class Word(BaseModel):
    """A word with its confidence and place in the sound."""

    word: str
    conf: float = 1.0
    start: float
    end: float


class Result(BaseModel):
    """vosk's JSON; times in seconds of the sound that this recogniser was given."""

    result: list[Word] = []


class Partial(BaseModel):
    """vosk's JSON before the end of an utterance."""

    partial: str = ""


def text_of(words: Sequence[Word]) -> str:
    return " ".join(word.word for word in words)


class End:
    """Whether the utterance has ended, before the recogniser says so."""

    def __init__(self, settled: Settled, meaning: Meaning, pause: Pause) -> None:
        self._settled, self._meaning, self._pause = settled, meaning, pause
        self._text, self._steady_s = "", 0.0
        self._lately: list[Samples] = []

    def __call__(self, text: str, samples: Samples) -> bool:
        """Take the words so far and the newest sound.

        Words that nothing can follow end it once they have stood unchanged for a
        moment; any that mean something, after a pause.
        """
        if not text:
            self._text, self._steady_s = "", 0.0
            self._lately = [*self._lately[-_CONTEXT:], samples]
            return False
        if not self._text:
            self._pause.begin()
            for earlier in self._lately:  # the word is heard after it was said
                self._pause(earlier)
            self._lately = []
        self._steady_s = self._steady_s + len(samples) / RATE if text == self._text else 0.0
        self._text = text
        if self._pause(samples) >= _PAUSE_S and self._meaning(text):
            return True
        return self._steady_s >= _STEADY_S and self._settled(text)


class Lasting:
    """Whether something has been so for a moment: the recogniser's first thought may pass."""

    def __init__(self) -> None:
        self._for_s = 0.0

    def __call__(self, now: bool, block: Block) -> bool:
        self._for_s = self._for_s + len(block.samples) / RATE if now else 0.0
        return self._for_s >= _LASTING_S


class LetGo:
    """What the technician said under the companion's voice, and could not be understood.

    It is owned up to once that voice has fallen silent: who hears nothing waits for an
    answer, and knows not that he was not heard.
    """

    def __init__(self) -> None:
        self._words: list[Word] = []
        self._said_s = self._silent_s = 0.0

    def note(self, words: list[Word], now_s: float) -> None:
        """Remember words that are let go."""
        self._words = words
        self._said_s, self._silent_s = now_s, float("inf")

    def due(self, now_s: float) -> list[Word]:
        """Those that nobody has said again, a moment after the companion has fallen silent."""
        self._silent_s = min(self._silent_s, now_s)
        if self._silent_s - self._said_s > _LONG_AGO_S:
            self._words = []
        return self._words if now_s - self._silent_s >= _MOMENT_S else []
