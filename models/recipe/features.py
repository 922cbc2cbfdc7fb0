"""The recogniser's features (Kaldi's MFCC with conf.FEATURE_OPTIONS), computed for whole batches.

Training may stretch the frequency axis, as a longer or shorter vocal tract does, and hide bands.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor

RATE = 16000
WINDOW = 400
"""Samples in a frame: 25 ms."""
HOP = 160
"""Samples between frames: 10 ms."""
BANDS = 40
_FFT = 512
_LOW, _HIGH = 20.0, 7600.0
_PREEMPHASIS = 0.97
_LIFTER = 22.0
_FLOOR = 1.1920929e-7  # single-precision epsilon, the smallest energy whose logarithm is taken


def frame_count(samples: int) -> int:
    """Whole frames in so many samples."""
    return max(0, (samples - WINDOW) // HOP + 1)


def _mel(hertz: float) -> float:
    return 1127.0 * math.log(1.0 + hertz / 700.0)


def mel_bank(stretch: float = 1.0) -> Tensor:
    """Triangular mel filters, shape (257, 40). A stretch above 1 moves the filters up in
    frequency."""
    low, step = _mel(_LOW), (_mel(_HIGH) - _mel(_LOW)) / (BANDS + 1)
    bins = [_mel(min(RATE / _FFT * k / stretch, 0.999 * RATE / 2)) for k in range(_FFT // 2 + 1)]
    bank = torch.zeros(_FFT // 2 + 1, BANDS)
    for band in range(BANDS):
        left, centre, right = (low + (band + offset) * step for offset in range(3))
        for k, mel in enumerate(bins[:-1]):  # Kaldi leaves the last bin out
            bank[k, band] = max(
                0.0, min((mel - left) / (centre - left), (right - mel) / (right - centre))
            )
    return bank


class Mfcc:
    """Batch MFCC on one device. `stretches` are the vocal tract factors that `bank` selects
    from."""

    def __init__(self, device: torch.device, stretches: tuple[float, ...] = (1.0,)) -> None:
        ramp = torch.arange(WINDOW, dtype=torch.float64)
        window = (0.5 - 0.5 * torch.cos(2 * math.pi * ramp / (WINDOW - 1))) ** 0.85
        self._window = window.float().to(device)
        self._banks = torch.stack([mel_bank(stretch) for stretch in stretches]).to(device)
        order = torch.arange(BANDS, dtype=torch.float64)
        cosine = torch.cos(math.pi / BANDS * (order[:, None] + 0.5) * order[None]) * math.sqrt(
            2 / BANDS
        )
        cosine[:, 0] = math.sqrt(1 / BANDS)
        lifter = 1 + 0.5 * _LIFTER * torch.sin(math.pi * order / _LIFTER)
        self._cosine = (cosine * lifter).float().to(device)

    def log_mel(self, samples: Tensor, bank: Tensor | None = None) -> Tensor:
        """Log band energies, shape (batch, frames, 40), of samples (batch, time) scaled to 16 bits.

        `bank` is the number of a stretch for each row; the first is used without it.
        """
        frames = samples.unfold(1, WINDOW, HOP)
        frames = frames - frames.mean(2, keepdim=True)
        first = frames[:, :, :1] * (1 - _PREEMPHASIS)
        frames = (
            torch.cat([first, frames[:, :, 1:] - _PREEMPHASIS * frames[:, :, :-1]], 2)
            * self._window
        )
        power = torch.fft.rfft(frames, _FFT).abs() ** 2
        chosen = self._banks[bank] if bank is not None else self._banks[:1]
        return torch.log(torch.clamp(power @ chosen, min=_FLOOR))

    def cepstra(self, log_mel: Tensor) -> Tensor:
        """Liftered cosine transform of log band energies, same shape."""
        return log_mel @ self._cosine
