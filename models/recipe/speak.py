"""Makes training speech: `python -m models.recipe.speak OUT --voices FOLDER --minutes 90`.

Speech is written in shards (one FLAC and one JSON list of what is said where). A shard's content
depends only on the seed, the engine and its number ("steps" is the neural engine with short texts),
and finished shards are skipped, so a stopped run goes on where it was. Several processes share the
work with --part and --parts.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from models.recipe import voices
from models.recipe.phonemes import spoken
from models.recipe.step_texts import StepTexts
from models.recipe.texts import PAUSE, STOP, TextSource, Utterance
from models.recipe.voices import RATE, Audio

SHARD = 100
"""Utterances in a shard."""
_GAP = np.zeros(RATE // 5, np.float32)
_MARGIN = int(0.05 * RATE)
_ENDINGS = [".", ".", ".", ".", "!", "?", "…", ""]


def common_words(count: int = 9000) -> list[str]:
    """Everyday words, most frequent first, spelled with letters only."""
    from wordfreq import top_n_list

    return [word for word in top_n_list("en", count) if re.fullmatch("[a-z]{2,}|i", word)]


def trimmed(audio: Audio) -> Audio:
    """Cuts silence off both ends (40 dB under the peak) and sets the peak to one half."""
    peak = float(np.abs(audio).max(initial=0.0))
    if peak < 1e-3:
        return np.zeros(0, np.float32)
    loud = np.flatnonzero(np.abs(audio) > 0.01 * peak)
    cut = audio[max(0, loud[0] - _MARGIN) : loud[-1] + _MARGIN]
    return np.asarray(cut * (0.5 / peak), np.float32)


def pronounced(utterance: Utterance, rng: random.Random) -> tuple[list[str], str]:
    """Phonemes word by word, and the whole string for the voice. Empty when a word can't be
    said."""
    parts: list[str] = []
    line: list[str] = []
    for token in utterance.tokens:
        if token in (PAUSE, STOP):
            line.append(token)
            continue
        sounds = spoken(token, rng)
        if not sounds:
            return [], ""
        parts.append(sounds)
        # Now and then a word loses its stress: fast, flat speech.
        line.append(sounds.replace("ˈ", "ˌ") if rng.random() < 0.08 else sounds)
    text = " ".join(line).replace(f" {PAUSE}", PAUSE).replace(f" {STOP}", STOP)
    return parts, text + rng.choice(_ENDINGS)


def speak(
    engine: str, utterance: Utterance, neural: voices.Neural, rng: random.Random
) -> tuple[Audio, Any, str]:
    """Says one utterance: audio, phonemes word by word (None for engines that read spelling),
    voice."""
    speed = min(max(rng.lognormvariate(0.0, 0.17), 0.7), 1.45)
    if engine == "formant":
        audio, voice = voices.say_formant(utterance.tokens, rng)
        return audio, None, voice
    if engine == "diphone":
        audio, voice = voices.say_diphone(utterance.tokens, rng)
        return audio, None, voice
    sounds, text = pronounced(utterance, rng)
    if not sounds:
        return np.zeros(0, np.float32), None, ""
    if engine == "small":
        return voices.say_small_neural(text, speed, rng.randrange(1 << 30)), sounds, "small"
    table, voice = neural.random_style(rng)
    shift = rng.choice([0, 0, 0, rng.randint(-3, 40)])
    return neural.say(text, table, speed, shift), sounds, voice


def make_shard(
    engine: str, index: int, seed: int, neural: voices.Neural, common: list[str]
) -> tuple[Audio, list[Any]]:
    """One shard: joined audio and, for each utterance, words, phonemes, voice, first and last
    sample."""
    rng = random.Random(f"{seed}:{engine}:{index}")
    source = (StepTexts if engine == "steps" else TextSource)(rng, common)
    clips: list[Audio] = []
    notes: list[Any] = []
    at = 0
    while len(notes) < SHARD:
        utterance = source.draw()
        audio, sounds, voice = speak(engine, utterance, neural, rng)
        audio = trimmed(audio)
        if not voice or not 0.08 * RATE < len(audio) < 12 * RATE:
            continue
        note = {
            "words": utterance.words,
            "tokens": utterance.tokens,
            "sounds": sounds,
            "kind": utterance.kind,
        }
        notes.append({**note, "voice": voice, "start": at, "stop": at + len(audio)})
        clips += [audio, _GAP]
        at += len(audio) + len(_GAP)
    return np.concatenate(clips), notes


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="make training speech")
    parser.add_argument("out", type=Path)
    parser.add_argument(
        "--voices", type=Path, required=True, help="folder of the neural voices' style tables"
    )
    parser.add_argument(
        "--engine", choices=["neural", "steps", "small", "diphone", "formant"], default="neural"
    )
    parser.add_argument("--minutes", type=float, default=90, help="stop after this long")
    parser.add_argument("--shards", type=int, default=100000, help="stop after this many shards")
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--parts", type=int, default=1)
    parser.add_argument("--seed", type=int, default=24)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    common, neural = common_words(), voices.Neural(args.voices)
    begun = time.monotonic()
    for index in range(args.part, args.shards, args.parts):
        if time.monotonic() - begun > args.minutes * 60:
            break
        stem = args.out / f"{args.engine}-{index:05d}"
        if stem.with_suffix(".json").exists():
            continue
        audio, notes = make_shard(args.engine, index, args.seed, neural, common)
        soundfile.write(stem.with_suffix(".flac"), audio, RATE, subtype="PCM_16")
        stem.with_suffix(".json").write_text(json.dumps(notes, ensure_ascii=False), "utf-8")
        elapsed = time.monotonic() - begun
        print(f"{stem.name} {len(audio) / RATE:.0f} s, {elapsed:.0f} s elapsed", flush=True)


if __name__ == "__main__":
    main()
