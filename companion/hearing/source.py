"""Where sound comes from, in the one form that the recogniser takes."""

from __future__ import annotations

from typing import Literal, NamedTuple, Protocol

import numpy as np
import soxr
from numpy.typing import NDArray

RATE = 16_000
"""Samples a second that the recogniser works at."""

Samples = NDArray[np.int16]


class Block(NamedTuple):
    """A little sound, mono int16 at ``RATE``.

    ``start_s`` is its time from the source's start, ``at_s`` the steady clock
    (``time.monotonic``) when it sounded; 0 for a recording. Both in seconds. ``raw`` is
    the same before the companion's own voice was taken out of it.
    """

    start_s: float
    samples: Samples
    at_s: float = 0.0
    raw: Samples | None = None


class Source(Protocol):
    """Sound to be pulled a block at a time, of 100 ms or less each."""

    @property
    def kind(self) -> Literal["microphone", "wav"]:
        """What utterances from here name as their source."""
        ...

    def read(self) -> Block | None:
        """The next block, waiting for it if need be; None at the end.

        Raises:
            AudioError: the source failed before its end.
        """
        ...

    def close(self) -> None:
        """Let go of file or device."""
        ...


class Resampler:
    """Any rate and any number of channels to mono int16 at ``RATE``, as it streams.

    Args:
        rate: of what comes in, in hertz.
    """

    def __init__(self, rate: int) -> None:
        self._stream = None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, dtype="float32")
        # Same file, same dither, same words: calls can be replayed.
        self._noise = np.random.default_rng(0)

    def __call__(self, frames: NDArray[np.float32], *, last: bool = False) -> Samples:
        """Take frames × channels in −1 … 1 and give what is ready; ``last`` empties the filter."""
        mono: NDArray[np.float32] = frames.mean(axis=1, dtype=np.float32)
        mono = np.nan_to_num(mono, posinf=1.0, neginf=-1.0)
        if self._stream is not None:
            mono = self._stream.resample_chunk(mono, last=last)
        # Two steps of noise, some 84 dB under full scale: dead silence has no
        # logarithm, and the acoustic model has never met any.
        dithered = mono * 32767.0 + self._noise.normal(0.0, 2.0, mono.shape)
        clipped: Samples = np.clip(np.round(dithered), -32768, 32767).astype(np.int16)
        return clipped
