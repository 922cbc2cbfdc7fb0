"""Turns clean synthetic speech into what a microphone on a job hears. Works on whole batches,
mostly on a GPU.

Samples in and out are float, shape (batch, time); full scale is 1 until `to_microphone` returns
16-bit scale. Every choice is drawn anew for each utterance from the batch's generator.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor

from models.recipe.noises import colour, knocks, noise, spectrum
from models.recipe.placing import RATE, Draw, Placed


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
    return spectrum(tail, size)


def _band(draw: Draw, frequency: Tensor, wide: bool) -> Tensor:
    """A microphone's and a line's response: ripple over frequency, band limits for some rows."""
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
    if wide:  # a telephone line or a headset: ITU-T G.712's 300 Hz to 3400 Hz, about
        narrow = draw.chance(0.2) > 0
        top = torch.where(narrow, draw.between(3000.0, 3900.0), top)
        low = torch.where(narrow, draw.between(100.0, 400.0), low)
    limits = torch.sigmoid((top - frequency[None]) / 90) * torch.sigmoid(
        (frequency[None] - low) / 15
    )
    return 10 ** (ripple / 20) * limits


def _gated(heard: Tensor, draw: Draw) -> Tensor:
    """What a headset's noise suppression leaves: in each band, what is little over the noise
    there sinks away."""
    window = torch.hann_window(512, device=draw.device)
    bins = torch.stft(heard, 512, 128, window=window, return_complex=True)
    power = bins.abs()
    usual = power.kthvalue(max(1, power.shape[2] // 5), dim=2, keepdim=True).values
    floor = usual * draw.between(0.5, 3.0)[:, :, None]
    gain = (1 - floor / (power + 1e-8)).clamp(min=10 ** (-draw.between(6.0, 24.0)[:, :, None] / 20))
    return torch.istft(bins * gain, 512, 128, window=window, length=heard.shape[1])


def _companded(heard: Tensor) -> Tensor:
    """Eight bits on a logarithmic scale, as on a telephone line (ITU-T G.711, mu-law)."""
    mu = 255.0
    curve = torch.sign(heard) * torch.log1p(mu * heard.abs().clamp(max=1.0)) / math.log1p(mu)
    curve = torch.round(curve * 127) / 127
    return torch.sign(curve) * torch.expm1(curve.abs() * math.log1p(mu)) / mu


def to_microphone(placed: Placed, draw: Draw, silent: int = 0, wide: bool = False) -> Tensor:
    """The batch as a microphone hears it, in 16-bit scale: room, noise, band, level, clipping,
    rounding.

    The first `silent` rows lose their speech and keep only the noise. `wide` adds more noise and
    more kinds of it, telephone bands, noise suppression, companding and level control.
    """
    time = placed.samples.shape[1]
    size = 1 << (time + RATE // 2).bit_length()
    frequency = torch.fft.rfftfreq(size, 1 / RATE, device=draw.device)
    spoken = (placed.speech_stop - placed.speech_start).clamp(min=1.0)
    loud = (placed.samples.pow(2).sum(1, keepdim=True) / spoken).sqrt() + 1e-5
    worst = -5.0 if wide else 2.0
    ratio = torch.where(draw.chance(0.2) > 0, draw.between(35.0, 60.0), draw.between(worst, 35.0))
    mute = (torch.arange(draw.rows, device=draw.device) < silent).float()[:, None]
    wet = torch.fft.irfft(spectrum(placed.samples * (1 - mute), size) * _room(draw, size), size)[
        :, :time
    ]
    wet = wet + loud * 10 ** (-ratio / 20) * noise(draw, placed, frequency, size, mute, wide)
    wet = wet + loud * knocks(draw, placed, colour(draw, frequency), size)
    heard = torch.fft.irfft(spectrum(wet, size) * _band(draw, frequency, wide), size)[:, :time]
    if wide:
        rows = draw.chance(0.12).squeeze(1).nonzero().squeeze(1)
        if len(rows):
            heard = heard.index_copy(0, rows, _gated(heard[rows], Draw(len(rows), draw.generator)))
    heard = heard / (heard.abs().amax(1, keepdim=True) + 1e-4)
    if wide:
        drive = draw.between(1.0, 6.0)  # level control and small loudspeakers flatten peaks
        heard = torch.where(
            draw.chance(0.15) > 0, torch.tanh(drive * heard) / torch.tanh(drive), heard
        )
        heard = torch.where(draw.chance(0.12) > 0, _companded(heard), heard)
    level = 10 ** (-draw.between(0.0, 32.0) / 20)
    level = torch.where(
        draw.chance(0.06) > 0, draw.between(1.2, 5.0), level
    )  # some microphones are set too high
    heard = (heard * level).clamp(-1.0, 1.0)
    return torch.round(heard * 32700 + 0.6 * draw.normal(time))


def hide(log_mel: Tensor, draw: Draw, strips: int = 2) -> Tensor:
    """Hides bands: some strips of the log band energies take the row's mean."""
    band = torch.arange(log_mel.shape[2], device=log_mel.device)[None]
    mean = log_mel.mean((1, 2), keepdim=True)
    for _ in range(strips):
        start, width = draw.between(0, 40), draw.between(0, 6) * draw.chance(0.6)
        hidden = (band >= start) & (band < start + width)
        log_mel = torch.where(hidden[:, None, :], mean, log_mel)
    return log_mel


def drop_frames(features: Tensor, draw: Draw, stretches: int = 2) -> Tensor:
    """Hides time: some short stretches of the normalised features (batch, frames, 40) become
    zero."""
    frame = torch.arange(features.shape[1], device=features.device)[None]
    for _ in range(stretches):
        start = draw.between(0, features.shape[1])
        width = draw.between(0, 12) * draw.chance(0.4)
        features = features * ~((frame >= start) & (frame < start + width))[:, :, None]
    return features
