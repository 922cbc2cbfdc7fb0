"""How loud the sound is, and making a faint microphone louder within reason."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

_SILENCE_DBFS = -96.0
_WANTED_DBFS = -30.0
_FAINT_DBFS = -45.0
_MOST_GAIN_DB = 24.0
_UP_DB_A_SECOND = 6.0
_LOUDEST_DBFS = -20.0
_SPEECH_OVER_FLOOR_DB, _LEAST_SPEECH_DBFS = 12.0, -65.0
_FLOOR_RISES_DB_A_SECOND = 1.0
_CLIPPED = 0.985


def dbfs(samples: NDArray[np.float32]) -> float:
    """Root mean square in decibels of full scale, for samples in −1 … 1; −96 at least."""
    if not len(samples):
        return _SILENCE_DBFS
    power = float(np.mean(np.square(samples, dtype=np.float64)))
    return max(_SILENCE_DBFS, 10 * math.log10(power + 1e-12))


class Level(NamedTuple):
    """What a meter shows, in decibels of full scale; ``clipped`` counts blocks at full scale."""

    now_dbfs: float = _SILENCE_DBFS
    floor_dbfs: float = _SILENCE_DBFS
    speech_dbfs: float | None = None
    gain_db: float = 0.0
    clipped: int = 0


class Gain:
    """A meter with a slow gain behind it.

    Speech under −45 dBFS is raised towards −30, by 24 dB at most; the recogniser hears
    the same from −54 dBFS up, and less is lost in its dither. Louder speech is left as
    it is: turning down what has clipped mends nothing. The gain rises slowly, and falls
    before a block that it would make too loud.
    """

    def __init__(self) -> None:
        self.level = Level()
        self._started = False

    def __call__(self, mono: NDArray[np.float32], length_s: float) -> NDArray[np.float32]:
        """Take one block, ``length_s`` seconds of samples in −1 … 1, and give it raised."""
        now = dbfs(mono)
        was = self.level
        floor = min(now, was.floor_dbfs + _FLOOR_RISES_DB_A_SECOND * length_s)
        if not self._started:
            floor, self._started = now, True
        speech = was.speech_dbfs
        if now > max(floor + _SPEECH_OVER_FLOOR_DB, _LEAST_SPEECH_DBFS):
            speech = now if speech is None else speech + (now - speech) * min(1.0, length_s / 0.8)
        wanted = 0.0
        if speech is not None and speech < _FAINT_DBFS:
            wanted = min(_MOST_GAIN_DB, _WANTED_DBFS - speech)
        most = max(0.0, _LOUDEST_DBFS - now)
        gain = min(wanted, was.gain_db + _UP_DB_A_SECOND * length_s, most)
        clipped = was.clipped + bool(len(mono) and np.abs(mono).max() >= _CLIPPED)
        self.level = Level(now, floor, speech, gain, clipped)
        if gain == 0.0:
            return mono
        return np.asarray(mono * 10 ** (gain / 20), np.float32)
