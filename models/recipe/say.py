"""Speaks texts with a test voice: `python -m models.recipe.say --voice am_michael --out call.flac
"R" "two forty"`.

Each text is followed by very quiet room noise, and all are joined in one mono 16 kHz FLAC file.
Useful for a demonstration call and for test clips; the default voice was never used in training.
Single capital letters in the text are spelled; everything else is read as words.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import soundfile

from models.recipe import voices
from models.recipe.phonemes import LETTERS, SPOKEN, dictionary
from models.recipe.voices import RATE, Audio

NOISE_LEVEL = 0.0006
"""Room noise, root mean square of full scale (-64 dB)."""


def phoneme_line(text: str) -> str:
    """Phonemes of a text, its punctuation kept as pauses, its usual pronunciations only."""
    line: list[str] = []
    for chunk in text.split():
        token = chunk.rstrip(".,!?")
        forms = LETTERS.get(token) or SPOKEN.get(token.lower()) or [dictionary(token)]
        line.append(forms[0] + chunk[len(token) :])
    spoken = " ".join(line)
    return spoken if spoken.endswith((".", "!", "?")) else f"{spoken}."


def room_noise(seconds: float, rng: np.random.Generator) -> Audio:
    """Quiet, dull noise: white noise smoothed over a quarter of a millisecond."""
    white = rng.normal(0.0, 1.0, int(seconds * RATE) + 4)
    return np.asarray(
        np.convolve(white, np.full(4, 0.5), "valid")[: int(seconds * RATE)] * NOISE_LEVEL,
        np.float32,
    )


def speak_all(
    texts: list[str], neural: voices.Neural, voice: str, speed: float, pause: float, seed: int = 1
) -> Audio:
    """All texts spoken one after the other, `pause` seconds after each, noise under everything."""
    rng = np.random.default_rng(seed)
    table = neural.table(voice)
    pieces = [np.zeros(int(0.3 * RATE), np.float32)]
    for text in texts:
        speech = neural.say(phoneme_line(text), table, speed)
        loud = np.flatnonzero(np.abs(speech) > 0.005)
        if not len(loud):
            raise ValueError(f"nothing to say in {text!r}")
        cut = speech[max(0, loud[0] - RATE // 20) : loud[-1] + RATE // 10]
        pieces += [
            cut * np.float32(0.5 / np.abs(cut).max()),
            np.zeros(int(pause * RATE), np.float32),
        ]
    joined = np.concatenate(pieces)
    return np.asarray(
        joined + room_noise(len(joined) / RATE + 0.01, rng)[: len(joined)], np.float32
    )


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="speak texts with a test voice into one FLAC file")
    parser.add_argument("texts", nargs="+")
    parser.add_argument("--voice", default="am_michael")
    parser.add_argument(
        "--voices", type=Path, required=True, help="folder of the neural voices' style tables"
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--speed", type=float, default=1.0)
    parser.add_argument("--pause", type=float, default=1.2, help="seconds of quiet after each text")
    args = parser.parse_args()
    audio = speak_all(args.texts, voices.Neural(args.voices), args.voice, args.speed, args.pause)
    soundfile.write(args.out, audio, RATE, subtype="PCM_16")
    print(f"{args.out}: {len(audio) / RATE:.1f} s")


if __name__ == "__main__":
    main()
