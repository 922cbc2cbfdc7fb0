"""The sound of one turn, with its times."""

from __future__ import annotations

import numpy as np

from companion.hearing.source import RATE, Block, Samples

_REHEARD_S = 0.2
_CLIP_MARGIN_S = 0.3
_BEGINNING_S = 1.0  # a word is known to be one only after a part of it


class Heard:
    """What a recogniser was given in this turn. Times are its own: seconds of sound given."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []
        self._gone = 0  # samples given and no longer kept

    def forget(self) -> None:
        """Let the sound go, but for the last of it: a word may have begun. Keep the count."""
        kept = sum(len(block.samples) for block in self.blocks)
        oldest = 0
        while kept - (length := len(self.blocks[oldest].samples)) >= _BEGINNING_S * RATE:
            kept, oldest = kept - length, oldest + 1
            self._gone += length
        self.blocks = self.blocks[oldest:]

    @property
    def given_s(self) -> float:
        """How much sound the recogniser was given."""
        return (self._gone + sum(len(block.samples) for block in self.blocks)) / RATE

    def source_s(self, given_s: float) -> float:
        """The same moment on the source's clock, which runs on while nobody listens."""
        at_s = self._gone / RATE
        for block in self.blocks[:-1]:
            length_s = len(block.samples) / RATE
            if given_s < at_s + length_s:
                return block.start_s + given_s - at_s
            at_s += length_s
        return self.blocks[-1].start_s + given_s - at_s

    def steady_s(self, given_s: float) -> float:
        """The same moment on the steady clock."""
        newest = self.blocks[-1]
        return newest.at_s + self.source_s(given_s) - newest.start_s

    def _index(self, given_s: float) -> int:
        return max(0, round(given_s * RATE) - self._gone)

    def between(self, start_s: float, end_s: float) -> Samples:
        """The sound of this stretch and a margin on either side, as far as it is there."""
        sound = np.concatenate([block.samples for block in self.blocks])
        return sound[self._index(start_s - _CLIP_MARGIN_S) : self._index(end_s + _CLIP_MARGIN_S)]

    def tail(self, since_s: float) -> Block | None:
        """The last of it, from ``since_s`` on but no more than is worth hearing again."""
        sound = np.concatenate([block.samples for block in self.blocks])
        begin = max(self._index(since_s), len(sound) - round(_REHEARD_S * RATE))
        if begin >= len(sound):
            return None
        given_s = (self._gone + begin) / RATE
        return Block(self.source_s(given_s), sound[begin:], self.steady_s(given_s))
