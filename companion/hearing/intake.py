"""Between a device's callback and whoever reads: a bounded queue that counts what it loses."""

from __future__ import annotations

import queue
import time
from typing import NamedTuple

import numpy as np

from companion.hearing.level import Gain, Level
from companion.hearing.source import RATE, Block, Resampler

BLOCK_S = 0.04
"""Seconds of sound that the device hands over at a time."""

SILENT_S = 2.0
"""Seconds without anything from the device after which it counts as gone."""

_HELD_S = 10.0
_WAIT_S = 0.25
_STEP_S = 0.3
_DRIFT_S = 4e-6


class _Taken(NamedTuple):
    given_s: float  # of sound given before, lost sound included
    at_s: float
    data: bytes


class Intake:
    """Sound as the device gives it on one side, as the recogniser takes it on the other.

    Args:
        rate: the device's samples a second.
        channels: how many of int16 lie interleaved in what it gives.
        start_s: the source's clock at the first sample.
    """

    def __init__(self, rate: int, channels: int, start_s: float = 0.0) -> None:
        self.dropped_blocks = 0
        self.zero_s = 0.0
        self._rate, self._channels, self._start_s = rate, channels, start_s
        self._blocks: queue.Queue[_Taken] = queue.Queue(round(_HELD_S / BLOCK_S))
        self._closed = False
        self._seen = 0
        self._last_given_s = time.monotonic()
        self._zero_s = float("inf")
        self._next_s = self._out_s = 0.0
        self._gain, self._resampler = Gain(), Resampler(rate)

    @property
    def level(self) -> Level:
        """How loud it is, before the gain."""
        return self._gain.level

    def give(self, data: bytes, overflowed: bool = False) -> None:
        """Called by the device: only queues, so that it never waits for anybody.

        Sound that nobody fetched in ten seconds, or that the device lost itself, is
        counted in ``dropped_blocks``.
        """
        self._last_given_s = time.monotonic()
        frames = len(data) // (2 * self._channels)
        given_s, self._seen = self._seen / self._rate, self._seen + frames
        self.dropped_blocks += overflowed
        if overflowed:  # nobody knows how much: our count of its clock begins anew
            self._zero_s = float("inf")
        try:
            at_s = self._steady_s(self._seen / self._rate) + given_s
            self._blocks.put_nowait(_Taken(given_s, at_s, data))
        except queue.Full:
            self.dropped_blocks += 1

    def _steady_s(self, counted_s: float) -> float:
        """The steady clock at the first sample, without the jitter of when we are called.

        A call can only come late, so the earliest tells; it may drift with the device's clock.
        """
        zero_s = self._last_given_s - counted_s
        if abs(zero_s - self._zero_s) > _STEP_S:
            self._zero_s = zero_s
        self._zero_s = min(self._zero_s + _DRIFT_S, zero_s)
        return self._zero_s

    def close(self) -> None:
        """Let the reader know that nothing more will come."""
        self._closed = True

    def read(self) -> Block | None:
        """The next block as the recogniser takes it; None once closed.

        Raises:
            TimeoutError: the device has given nothing for two seconds.
        """
        while not self._closed:
            try:
                taken = self._blocks.get(timeout=_WAIT_S)
            except queue.Empty:
                if time.monotonic() - self._last_given_s > SILENT_S:
                    raise TimeoutError from None
                continue
            frames = np.frombuffer(taken.data, np.int16).reshape(-1, self._channels)
            length_s = len(frames) / self._rate
            self.zero_s = 0.0 if frames.any() else self.zero_s + length_s
            mono = frames.mean(axis=1, dtype=np.float32) / np.float32(32768.0)
            samples = self._resampler(self._gain(mono, length_s)[:, None])
            # The resampler gives more or less than it takes, by up to a block: its own
            # count tells the time of what it gives, unless sound was lost before this.
            lost_s = taken.given_s - self._next_s
            if lost_s > 0.001:
                self._out_s += lost_s
            self._next_s = taken.given_s + length_s
            start_s = self._out_s
            self._out_s += len(samples) / RATE
            if len(samples):
                return Block(self._start_s + start_s, samples, taken.at_s - taken.given_s + start_s)
        return None
