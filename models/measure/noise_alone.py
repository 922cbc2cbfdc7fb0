"""Noise with nobody speaking: how often it comes out as a word, or as an answer.

The noises are made up to resemble; no recording stands behind them. Each is heard as one long
sound, as loud as speech, by one recogniser for each step's list.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.hearing.recogniser import Recogniser
from models.measure.clips import RATE, Samples
from models.measure.lists import UNKNOWN, Step, taken

Sound = NDArray[np.float64]
_LEVEL = 0.05
"""Root mean square of the noise, full scale 1; speech close to a microphone has about that."""
_BLOCK = RATE // 50


def _time(length: int) -> Sound:
    return np.arange(length) / RATE


def _band(rng: np.random.Generator, length: int, low_hz: float, high_hz: float) -> Sound:
    spectrum = np.fft.rfft(rng.normal(0, 1, length))
    frequency = np.fft.rfftfreq(length, 1 / RATE)
    spectrum[(frequency < low_hz) | (frequency > high_hz)] = 0
    band = np.fft.irfft(spectrum, length)
    return np.asarray(band / band.std())


def _fan(rng: np.random.Generator, length: int) -> Sound:
    frequency = np.maximum(np.fft.rfftfreq(length, 1 / RATE), 40.0)
    shaped = np.fft.rfft(rng.normal(0, 1, length)) / frequency
    blades = 1 + 0.3 * np.sin(2 * np.pi * 21 * _time(length))
    return np.asarray(np.fft.irfft(shaped, length) * blades)


def _compressor(rng: np.random.Generator, length: int) -> Sound:
    time = _time(length)
    hum = sum(np.sin(2 * np.pi * 60 * k * time + k) / k for k in range(1, 20))
    running = time % 20 > 3  # it starts and stops
    return np.asarray((hum + 0.3 * _band(rng, length, 100, 3000)) * running)


def _drill(rng: np.random.Generator, length: int) -> Sound:
    time = _time(length)
    pitch = np.cumsum(320 + 60 * np.sin(2 * np.pi * 0.6 * time)) / RATE
    whine = sum(np.sin(2 * np.pi * k * pitch) / k**0.5 for k in range(1, 12))
    return np.asarray((whine + 0.8 * rng.normal(0, 1, length)) * (time % 4 < 2.2))


def _bursts(
    rng: np.random.Generator, length: int, every_s: float, burst: Callable[[], Sound]
) -> Sound:
    sound = np.zeros(length + 2 * RATE)
    at = 0
    while at < length:
        one = burst()
        sound[at : at + len(one)] += one * rng.uniform(0.3, 1)
        at += int(rng.exponential(every_s) * RATE) + len(one)
    return sound[:length]


def _knocks(rng: np.random.Generator, length: int) -> Sound:
    def burst() -> Sound:
        time = _time(int(rng.uniform(0.03, 0.25) * RATE))
        rings = sum(np.sin(2 * np.pi * rng.uniform(150, 4000) * time) for _ in range(4))
        click = rings + rng.normal(0, 1, len(time))
        return np.asarray(click * np.exp(-time / rng.uniform(0.005, 0.06)))

    return _bursts(rng, length, 0.6, burst)


def _breaths(rng: np.random.Generator, length: int) -> Sound:
    def burst() -> Sound:
        size = int(rng.uniform(0.3, 0.9) * RATE)
        return _band(rng, size, rng.uniform(200, 900), rng.uniform(2500, 6500)) * np.hanning(size)

    return _bursts(rng, length, 1.2, burst)


def _coughs(rng: np.random.Generator, length: int) -> Sound:
    def burst() -> Sound:
        time = _time(int(rng.uniform(0.15, 0.35) * RATE))
        fold = np.sin(2 * np.pi * rng.uniform(90, 220) * time) > 0.3
        throat = sum(_band(rng, len(time), f, f * 1.4) for f in (500, 1100, 2400))
        return np.asarray(throat * (0.5 + 0.5 * fold) * np.exp(-time / 0.08))

    return _bursts(rng, length, 0.9, burst)


NOISES = {
    "fan": _fan,
    "compressor": _compressor,
    "drill": _drill,
    "knocks": _knocks,
    "breaths": _breaths,
    "coughs": _coughs,
}


def made(kind: str, seconds: float, seed: int = 5) -> Samples:
    """Noise of one kind, the same for every model."""
    sound = NOISES[kind](np.random.default_rng(seed), int(seconds * RATE))
    sound = sound * (_LEVEL / sound.std())
    return np.clip(np.round(sound * 32767), -32768, 32767).astype(np.int16)


def _utterances(recogniser: Recogniser, samples: Samples, step: Step) -> list[Any]:
    ear = recogniser.build(step.phrases)
    found = []
    for at in range(0, len(samples), _BLOCK):
        if ear.AcceptWaveform(samples[at : at + _BLOCK].tobytes()):
            found.append(json.loads(ear.Result()))
    return [*found, json.loads(ear.FinalResult())]


def rows(
    recogniser: Recogniser, steps: dict[str, Step], seconds: float = 120
) -> list[tuple[str, str]]:
    """For each noise: utterances with a word in them, and how many mean something at the step."""
    table: list[tuple[str, str]] = []
    for kind in NOISES:
        samples = made(kind, seconds)
        parts: list[str] = []
        for name, step in steps.items():
            heard = [found["text"] for found in _utterances(recogniser, samples, step)]
            words = [text for text in heard if any(word != UNKNOWN for word in text.split())]
            meant = sum(taken(step.meaning(text)) for text in words) if step.expected else 0
            parts.append(f"{name} {len(words)}" + (f" ({meant} mean something)" if meant else ""))
        table.append((f"{kind} alone, {seconds:g} s, utterances with words", ", ".join(parts)))
    return table
