"""Random draws for a batch, and utterances laid into silence at a random pace."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor

RATE = 16000


@dataclass
class Draw:
    """Random numbers for a batch of `rows` on one device."""

    rows: int
    generator: torch.Generator

    @property
    def device(self) -> torch.device:
        """Where the numbers are made."""
        return self.generator.device

    def between(self, low: float, high: float, columns: int = 1) -> Tensor:
        """Uniform numbers, shape (rows, columns)."""
        unit = torch.rand(self.rows, columns, generator=self.generator, device=self.device)
        return unit * (high - low) + low

    def chance(self, share: float, columns: int = 1) -> Tensor:
        """Ones with this probability, else zeros, shape (rows, columns)."""
        return (self.between(0.0, 1.0, columns) < share).float()

    def normal(self, columns: int) -> Tensor:
        """Standard normal numbers, shape (rows, columns)."""
        return torch.randn(self.rows, columns, generator=self.generator, device=self.device)


@dataclass(frozen=True)
class Placed:
    """Utterances laid into silence: samples, and for each row the sample where it ends with its
    tail."""

    samples: Tensor
    speech_start: Tensor
    speech_stop: Tensor
    stop: Tensor


def place(pool: Tensor, starts: Tensor, lengths: Tensor, draw: Draw) -> Placed:
    """Cuts utterances out of one long strip of speech, at a random pace, with quiet before and
    after.

    Pace also moves pitch and formants, like another speaker's. Cubic interpolation between samples.
    """
    pace = draw.between(0.86, 1.16)
    before = draw.between(0.08, 0.5) * RATE
    after = (
        torch.where(draw.chance(0.7) > 0, draw.between(0.12, 0.6), draw.between(0.6, 1.3)) * RATE
    )
    spoken = lengths[:, None] / pace
    stop = (before + spoken + after).long()
    time = torch.arange(int(stop.max()), device=draw.device)[None] - before
    at = time * pace
    whole = at.floor()
    part = at - whole
    taps = [_tap(pool, starts, lengths, whole.long() + shift) for shift in (-1, 0, 1, 2)]
    a, b, c, d = taps
    samples = b + 0.5 * part * (
        c - a + part * (2 * a - 5 * b + 4 * c - d + part * (3 * (b - c) + d - a))
    )
    return Placed(samples, before, before + spoken, stop.squeeze(1))


def _tap(pool: Tensor, starts: Tensor, lengths: Tensor, at: Tensor) -> Tensor:
    inside = (at >= 0) & (at < lengths[:, None])
    index = (starts[:, None] + at.clamp(min=0)).clamp(max=len(pool) - 1)
    return pool[index].float() * inside / 32768
