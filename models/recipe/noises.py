"""What else a microphone on a job picks up: fans, hum, tools, a radio, knocks, other people.

Samples have shape (batch, time); every choice is drawn anew for each row.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor

from models.recipe.placing import RATE, Draw, Placed


def spectrum(samples: Tensor, size: int) -> Tensor:
    """Spectrum of each row, padded to `size` samples."""
    bins: Tensor = torch.fft.rfft(samples, size)
    return bins


def colour(draw: Draw, frequency: Tensor) -> Tensor:
    """Amplitude over frequency of one noise: a slope between white and brown, sometimes a hump (a
    fan, a whine)."""
    slope = (frequency.clamp(min=30.0) / 1000)[None] ** -draw.between(0.0, 1.1)
    hump = torch.exp(
        -(((frequency[None] - draw.between(80.0, 6500.0)) / draw.between(30.0, 600.0)) ** 2)
    )
    return slope * (1 + draw.between(0.0, 6.0) * draw.chance(0.5) * hump)


def _swell(draw: Draw, time: int) -> Tensor:
    """Slow loudness changes of a noise, between about 0.3 and 1."""
    ramp = torch.arange(time, device=draw.device)[None] / RATE
    phase = draw.between(0.0, 2 * math.pi)
    return 1 - 0.7 * draw.chance(0.4) * (
        0.5 + 0.5 * torch.sin(2 * math.pi * draw.between(0.2, 4.0) * ramp + phase)
    )


def _hum(draw: Draw, time: int) -> Tensor:
    """Mains or motor hum: a fundamental and its harmonics."""
    ramp = torch.arange(time, device=draw.device)[None] / RATE
    pitch = torch.where(draw.chance(0.5) > 0, draw.chance(0.7) * 10 + 50, draw.between(20.0, 180.0))
    parts = [
        draw.between(0.0, 1.0)
        * torch.sin(2 * math.pi * pitch * order * ramp + draw.between(0.0, 6.28))
        for order in (1, 2, 3, 4, 5, 6, 8, 12)
    ]
    return torch.stack(parts).sum(0)


def _bursts(draw: Draw, time: int) -> Tensor:
    """Loudness of a tool or a motor over time: one burst a turn, 4 to 120 turns a second."""
    ramp = torch.arange(time, device=draw.device)[None] / RATE
    turn = ramp * 2 ** draw.between(2.0, 6.9) + draw.between(0.0, 1.0)
    sharp = draw.between(0.3, 8.0)
    return 0.05 + (0.5 + 0.5 * torch.cos(2 * math.pi * turn)) ** sharp


def _melody(draw: Draw, time: int) -> Tensor:
    """A radio's or a beeper's tones: four notes at once, each changing every so often."""
    ramp = torch.arange(time, device=draw.device)[None] / RATE
    parts = []
    for _ in range(4):
        notes = 110 * 2 ** draw.between(0.0, 4.5, 24)
        at = (ramp / draw.between(0.12, 0.6)).long().remainder(24)
        phase = torch.cumsum(notes.gather(1, at), 1) * (2 * math.pi / RATE)
        parts.append(torch.sin(phase) + 0.4 * torch.sin(2 * phase))
    return torch.stack(parts).sum(0)


def knocks(draw: Draw, placed: Placed, colour: Tensor, size: int) -> Tensor:
    """Breaths, thumps and clicks outside the speech: short bursts of coloured noise before and
    after it."""
    time = placed.samples.shape[1]
    ramp = torch.arange(time, device=draw.device)[None]
    burst = torch.zeros_like(placed.samples)
    for _ in range(3):
        after = draw.chance(0.65)
        centre = after * (placed.speech_stop + draw.between(0.03, 0.8) * RATE)
        centre = centre + (1 - after) * (placed.speech_start - draw.between(0.03, 0.4) * RATE)
        width = 10 ** draw.between(-2.6, -0.8) * RATE  # 2.5 ms to 160 ms
        level = 10 ** (-draw.between(2.0, 34.0) / 20) * draw.chance(0.3)
        burst = burst + level * torch.exp(-(((ramp - centre) / width) ** 2))
    noise = torch.fft.irfft(spectrum(draw.normal(time), size) * colour, size)[:, :time]
    return burst * unit(noise)


def unit(noise: Tensor) -> Tensor:
    return noise / (noise.std(1, keepdim=True) + 1e-6)


def _steady(draw: Draw, frequency: Tensor, size: int, time: int) -> Tensor:
    shaped = spectrum(draw.normal(time), size) * colour(draw, frequency)
    return unit(torch.fft.irfft(shaped, size)[:, :time])


def _others(placed: Placed, shifts: tuple[int, ...]) -> Tensor:
    """Other rows' speech, moved in time."""
    parts = [torch.roll(placed.samples, shift, 0).roll(5000 * shift, 1) for shift in shifts]
    return unit(torch.stack(parts).sum(0))


def noise(
    draw: Draw, placed: Placed, frequency: Tensor, size: int, silent: Tensor, wide: bool
) -> Tensor:
    """A mix of coloured noise, hum and (not in silent rows) other people talking, at unit level;
    `wide` adds tools, motors and a radio."""
    time = placed.samples.shape[1]
    share = draw.between(0.0, 1.0, 3) * draw.chance(0.9, 3)
    share = share * torch.cat(
        [draw.chance(0.92), 0.8 * draw.chance(0.35), 0.6 * draw.chance(0.25)], 1
    )
    share[:, 2:] *= 1 - silent
    share[:, :1] += 0.1 * silent
    steady = _steady(draw, frequency, size, time) * _swell(draw, time)
    if wide:
        steady = torch.where(draw.chance(0.2) > 0, unit(steady * _bursts(draw, time)), steady)
        steady = steady + 0.7 * draw.chance(0.12) * unit(_melody(draw, time))
    others = _others(placed, (1, 3, 7, 12))
    if wide:
        others = torch.where(draw.chance(0.4) > 0, 0.7 * _others(placed, (5,)), others)
    mixed = share[:, :1] * steady + share[:, 1:2] * unit(_hum(draw, time)) + share[:, 2:] * others
    return unit(mixed)
