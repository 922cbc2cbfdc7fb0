"""Turns clean synthetic speech into what a microphone on a job hears. Works on whole batches,
mostly on a GPU.

Samples in and out are float, shape (batch, time); full scale is 1 until `to_microphone` returns
16-bit scale. Every choice is drawn anew for each utterance from the batch's generator.
"""

from __future__ import annotations

import math
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


def _spectrum(samples: Tensor, size: int) -> Tensor:
    spectrum: Tensor = torch.fft.rfft(samples, size)
    return spectrum


def _room(draw: Draw, size: int) -> Tensor:
    """Spectrum of an impulse response: the direct sound, and for half of the rows a decaying
    tail."""
    length = RATE // 2
    time = torch.arange(length, device=draw.device) / RATE
    decay = draw.between(0.08, 0.6)  # seconds to fall by 60 dB
    tail = draw.normal(length) * torch.exp(-6.9 * time / decay)
    tail = tail / tail.pow(2).sum(1, keepdim=True).sqrt()
    tail = tail * 10 ** (-draw.between(0.0, 18.0) / 20) * draw.chance(0.5)
    tail[:, : RATE // 1000] = 0.0
    tail[:, 0] = 1.0
    return _spectrum(tail, size)


def _colour(draw: Draw, frequency: Tensor) -> Tensor:
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


def _knocks(draw: Draw, placed: Placed, colour: Tensor, size: int) -> Tensor:
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
    noise = torch.fft.irfft(_spectrum(draw.normal(time), size) * colour, size)[:, :time]
    return burst * _unit(noise)


def _unit(noise: Tensor) -> Tensor:
    return noise / (noise.std(1, keepdim=True) + 1e-6)


def _band(draw: Draw, frequency: Tensor) -> Tensor:
    """A microphone's and a line's response: ripple over frequency, band limits for a third of the
    rows."""
    octave = torch.log2(frequency.clamp(min=50.0) / 50.0)[None]
    ripple = torch.zeros_like(octave).expand(draw.rows, -1)
    for order in (0.5, 1.0, 1.7):
        ripple = ripple + draw.between(-3.5, 3.5) * torch.cos(
            math.pi * order * octave / 3.5 + draw.between(0.0, 6.28)
        )
    top = torch.where(
        draw.chance(0.35) > 0,
        draw.between(3200.0, 7500.0),
        torch.full_like(draw.between(0, 1), 9e3),
    )
    low = draw.chance(0.4) * draw.between(60.0, 330.0)
    limits = torch.sigmoid((top - frequency[None]) / 90) * torch.sigmoid(
        (frequency[None] - low) / 15
    )
    return 10 ** (ripple / 20) * limits


def _noise(draw: Draw, placed: Placed, frequency: Tensor, size: int, silent: Tensor) -> Tensor:
    """A mix of coloured noise, hum and (not in silent rows) other people talking, at unit level."""
    time = placed.samples.shape[1]
    steady = torch.fft.irfft(_spectrum(draw.normal(time), size) * _colour(draw, frequency), size)[
        :, :time
    ]
    others = sum(
        torch.roll(placed.samples, shift, 0).roll(5000 * shift, 1) for shift in (1, 3, 7, 12)
    )
    assert isinstance(others, Tensor)
    share = draw.between(0.0, 1.0, 3) * draw.chance(0.9, 3)
    share = share * torch.cat(
        [draw.chance(0.92), 0.8 * draw.chance(0.35), 0.6 * draw.chance(0.25)], 1
    )
    share[:, 2:] *= 1 - silent
    share[:, :1] += 0.1 * silent
    mixed = share[:, :1] * _unit(steady) * _swell(draw, time)
    mixed = mixed + share[:, 1:2] * _unit(_hum(draw, time)) + share[:, 2:] * _unit(others)
    return _unit(mixed)


def to_microphone(placed: Placed, draw: Draw, silent: int = 0) -> Tensor:
    """The batch as a microphone hears it, in 16-bit scale: room, noise, band, level, clipping,
    rounding.

    The first `silent` rows lose their speech and keep only the noise.
    """
    time = placed.samples.shape[1]
    size = 1 << (time + RATE // 2).bit_length()
    frequency = torch.fft.rfftfreq(size, 1 / RATE, device=draw.device)
    spoken = (placed.speech_stop - placed.speech_start).clamp(min=1.0)
    loud = (placed.samples.pow(2).sum(1, keepdim=True) / spoken).sqrt() + 1e-5
    ratio = torch.where(draw.chance(0.2) > 0, draw.between(35.0, 60.0), draw.between(2.0, 35.0))
    mute = (torch.arange(draw.rows, device=draw.device) < silent).float()[:, None]
    wet = torch.fft.irfft(_spectrum(placed.samples * (1 - mute), size) * _room(draw, size), size)[
        :, :time
    ]
    wet = wet + loud * 10 ** (-ratio / 20) * _noise(draw, placed, frequency, size, mute)
    wet = wet + loud * _knocks(draw, placed, _colour(draw, frequency), size)
    heard = torch.fft.irfft(_spectrum(wet, size) * _band(draw, frequency), size)[:, :time]
    peak = heard.abs().amax(1, keepdim=True) + 1e-4
    level = 10 ** (-draw.between(0.0, 32.0) / 20)
    level = torch.where(
        draw.chance(0.06) > 0, draw.between(1.2, 5.0), level
    )  # some microphones are set too high
    heard = (heard / peak * level).clamp(-1.0, 1.0)
    return torch.round(heard * 32700 + 0.6 * draw.normal(time))


def hide(log_mel: Tensor, draw: Draw) -> Tensor:
    """Hides bands: up to two strips of the log band energies take the row's mean."""
    band = torch.arange(log_mel.shape[2], device=log_mel.device)[None]
    mean = log_mel.mean((1, 2), keepdim=True)
    for _ in range(2):
        start, width = draw.between(0, 40), draw.between(0, 6) * draw.chance(0.6)
        hidden = (band >= start) & (band < start + width)
        log_mel = torch.where(hidden[:, None, :], mean, log_mel)
    return log_mel


def drop_frames(features: Tensor, draw: Draw) -> Tensor:
    """Hides time: up to two short stretches of the normalised features (batch, frames, 40) become
    zero."""
    frame = torch.arange(features.shape[1], device=features.device)[None]
    for _ in range(2):
        start = draw.between(0, features.shape[1])
        width = draw.between(0, 12) * draw.chance(0.4)
        features = features * ~((frame >= start) & (frame < start + width))[:, :, None]
    return features
