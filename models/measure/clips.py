"""Recordings to measure with: a folder with a manifest, and noise laid over them."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

RATE = 16000
Samples = NDArray[np.int16]
_QUIET_AFTER_S = 0.3


@dataclass(frozen=True)
class Clip:
    """One recording: words said, kind ("oov" for speech that means nothing to the companion),
    speaker, samples (16-bit, RATE)."""

    file: str
    words: tuple[str, ...]
    kind: str
    speaker: str
    samples: Samples

    @property
    def text(self) -> str:
        """The words in one string."""
        return " ".join(self.words)

    @property
    def speech_end_s(self) -> float:
        """Where speech ends, in seconds: the last 10 ms that is within 35 dB of the loudest."""
        frames = self.samples[: len(self.samples) // 160 * 160].astype(np.float64).reshape(-1, 160)
        power = (frames**2).mean(1)
        return float(np.flatnonzero(power > power.max() * 10**-3.5)[-1] + 1) * 0.01


def load(folder: Path) -> list[Clip]:
    """All recordings of a folder with manifest.tsv (file, transcript, kind, speaker), with a little
    near silence after each. Raises OSError, KeyError, ValueError."""
    rng = np.random.default_rng(3)
    clips: list[Clip] = []
    with (folder / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            audio, rate = soundfile.read(folder / row["file"], dtype="float32", always_2d=True)
            sound = soxr.resample(audio.mean(axis=1), rate, RATE)
            sound = np.concatenate([sound, np.zeros(int(_QUIET_AFTER_S * RATE), np.float32)])
            sound = sound + rng.normal(0, 2e-5, len(sound))  # digital silence is no microphone's
            words = tuple(row["transcript"].split())
            speaker = row.get("speaker", "")
            clips.append(Clip(row["file"], words, row["kind"], speaker, _whole(sound)))
    return clips


def in_noise(clips: list[Clip], ratio_db: float) -> list[Clip]:
    """The same recordings in noise of random colour, the same for every model: from white to
    brown, half of it with mains hum, `ratio_db` under the loud part of the speech."""
    rng = np.random.default_rng(11)
    return [
        replace(clip, samples=_whole(_noisy(clip.samples / 32768, ratio_db, rng))) for clip in clips
    ]


def _whole(sound: NDArray[Any]) -> Samples:
    return np.clip(np.round(sound * 32767), -32768, 32767).astype(np.int16)


def _noisy(sound: NDArray[Any], ratio_db: float, rng: np.random.Generator) -> NDArray[Any]:
    spectrum = np.fft.rfft(rng.normal(0, 1, len(sound)))
    colour = np.maximum(np.fft.rfftfreq(len(sound), 1 / RATE), 60.0) ** -rng.uniform(0, 1)
    noise = np.fft.irfft(spectrum * colour, len(sound))
    noise /= noise.std()
    if rng.random() < 0.5:
        time, mains = np.arange(len(sound)) / RATE, rng.choice([50.0, 60.0])
        noise += sum(np.sin(2 * np.pi * mains * k * time) / k for k in (1, 2, 3, 4, 6))
    loud = np.abs(sound) > 0.05 * np.abs(sound).max()
    level = np.sqrt(np.mean(sound[loud] ** 2)) * 10 ** (-ratio_db / 20)
    return np.asarray((sound + noise * (level / noise.std())) * 0.7)
