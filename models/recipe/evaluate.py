"""Measures a model folder on recordings: `python -m models.recipe.evaluate FOLDER --model
models/field-en`.

FOLDER holds manifest.tsv (file, transcript, kind, ... tab-separated) and the recordings. Printed
for each phrase list: how many clips whose words are all in the list were recognised exactly, and
how many of the out-of-vocabulary clips (kind "oov") came out as words of the list; then load time,
real-time factor and memory. --noise adds white-to-brown noise at a signal-to-noise ratio in dB, the
same for every model.
"""

from __future__ import annotations

import argparse
import csv
import json
import resource
import time
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
import vosk
from numpy.typing import NDArray

from models.recipe import steps
from models.recipe.build import SHIPPED
from models.recipe.lexicon import UNKNOWN

RATE = 16000
_SAME = {"oh": "o", "to": "two", "why": "y", "wye": "y"}
"""Words that are one sound; the companion's parser takes either for the other."""
_CHUNK = RATE // 10 * 2  # bytes in 50 ms


@dataclass(frozen=True)
class Clip:
    """One recording: words said, kind, samples (16-bit, RATE)."""

    file: str
    words: tuple[str, ...]
    kind: str
    speaker: str
    samples: NDArray[np.int16]


@dataclass(frozen=True)
class Heard:
    """What came out: words and the confidence of each."""

    words: tuple[str, ...]
    confidence: tuple[float, ...]

    @property
    def accepted(self) -> tuple[str, ...]:
        """Words that mean something: unknown speech, decoys and fillers left out."""
        silent = {UNKNOWN, *steps.DECOYS, *" ".join(steps.FILLERS).split()}
        return tuple(word for word in self.words if word not in silent)

    @property
    def weakest(self) -> float:
        """Lowest confidence among the words, 1 if there is none."""
        return min(self.confidence, default=1.0)


def load_clips(folder: Path, noise_db: float | None = None) -> list[Clip]:
    """All recordings of a folder, with 0.3 s of near silence added after each. Raises OSError,
    KeyError, ValueError."""
    rng = np.random.default_rng(3)
    clips: list[Clip] = []
    with (folder / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            audio, rate = soundfile.read(folder / row["file"], dtype="float32", always_2d=True)
            sound = soxr.resample(audio.mean(axis=1), rate, RATE)
            sound = np.concatenate([sound, np.zeros(int(0.3 * RATE), np.float32)])
            sound = sound + rng.normal(0, 2e-5, len(sound))  # digital silence is no microphone's
            if noise_db is not None:
                sound = noisy(sound, noise_db, rng)
            samples = np.clip(sound * 32767, -32768, 32767).astype(np.int16)
            words = tuple(row["transcript"].split())
            clips.append(Clip(row["file"], words, row["kind"], row.get("speaker", ""), samples))
    return clips


def noisy(sound: NDArray[Any], ratio_db: float, rng: np.random.Generator) -> NDArray[Any]:
    """Adds noise whose colour is random between white and brown, `ratio_db` under the speech's loud
    part."""
    spectrum = np.fft.rfft(rng.normal(0, 1, len(sound)))
    colour = np.maximum(np.fft.rfftfreq(len(sound), 1 / RATE), 60.0) ** -rng.uniform(0, 1)
    noise = np.fft.irfft(spectrum * colour, len(sound))
    loud = np.abs(sound) > 0.05 * np.abs(sound).max()
    level = np.sqrt(np.mean(sound[loud] ** 2)) * 10 ** (-ratio_db / 20)
    return np.asarray((sound + noise * (level / noise.std())) * 0.7)


def recognise(model: Any, samples: NDArray[np.int16], phrases: str) -> Heard:
    """Runs one recording through a fresh recogniser in small blocks, as a microphone would."""
    recogniser = vosk.KaldiRecognizer(model, RATE, phrases)
    recogniser.SetWords(True)
    results: list[Any] = []
    data = samples.tobytes()
    for at in range(0, len(data), _CHUNK):
        if recogniser.AcceptWaveform(data[at : at + _CHUNK]):
            results += json.loads(recogniser.Result()).get("result", [])
    results += json.loads(recogniser.FinalResult()).get("result", [])
    return Heard(
        tuple(part["word"] for part in results), tuple(float(part["conf"]) for part in results)
    )


def lists_for(clips: Iterable[Clip]) -> dict[str, tuple[list[str], set[str]]]:
    """Phrase lists to try, each with the kinds of clips it is for."""
    kinds = {clip.kind for clip in clips}
    words = {"word", "concatenated"}
    if kinds & {"reading", "terminal"}:
        return {
            "reading step": (steps.reading(), {"reading", "oov"}),
            "terminal step": (steps.terminal(), {"terminal", "oov"}),
            "answer step": (steps.answer(), {"phrase", "oov"}),
        }
    return {
        "single words, 8 letters": (steps.single_words(steps.TERMINALS), words | {"oov"}),
        "single words, 26 letters": (
            steps.single_words(steps.LETTERS),
            words | {"oov", "word_unverified"},
        ),
        "reading step": (steps.reading(), words | {"oov"}),
        "terminal step": (steps.terminal(), words | {"oov", "word_unverified"}),
    }


def score(
    model: Any, clips: list[Clip], phrases: list[str], kinds: set[str]
) -> list[tuple[Clip, Heard]]:
    """Recognises the clips of these kinds that the list can express (out-of-vocabulary clips
    always)."""
    known = set(" ".join(phrases).split()) | set(_SAME)
    listed = json.dumps(phrases)
    chosen = [
        clip
        for clip in clips
        if clip.kind in kinds and (clip.kind == "oov" or set(clip.words) <= known)
    ]
    return [(clip, recognise(model, clip.samples, listed)) for clip in chosen]


def _same(said: tuple[str, ...], heard: tuple[str, ...]) -> bool:
    quiet = {UNKNOWN, *" ".join(steps.FILLERS).split()}
    said, heard = (
        tuple(_SAME.get(word, word) for word in words if word not in quiet)
        for words in (said, heard)
    )
    return said == heard


def report(
    name: str, results: list[tuple[Clip, Heard]], verbose: bool
) -> dict[str, tuple[int, int]]:
    """Prints one list's figures by speaker and kind; returns (right, all) by kind."""
    tally: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for clip, heard in results:
        right = not heard.accepted if clip.kind == "oov" else _same(clip.words, heard.words)
        for key in (clip.kind, f"{clip.kind}/{clip.speaker}"):
            tally[key][0] += right
            tally[key][1] += 1
        if verbose and not right:
            marks = " ".join(
                f"{word}:{sure:.2f}"
                for word, sure in zip(heard.words, heard.confidence, strict=True)
            )
            print(f"    {clip.file}: {' '.join(clip.words)} -> {marks}")
    cells = [
        f"{key} {right}/{total}" for key, (right, total) in sorted(tally.items()) if "/" not in key
    ]
    print(f"{name}: " + ", ".join(cells).replace("oov", "out-of-vocabulary rejected"))
    details = [
        f"{key} {right}/{total}" for key, (right, total) in sorted(tally.items()) if "/" in key
    ]
    print("    " + ", ".join(details))
    return {key: (right, total) for key, (right, total) in tally.items()}


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="measure a speech model on recordings")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--model", type=Path, default=SHIPPED)
    parser.add_argument("--noise", type=float, help="signal-to-noise ratio in dB")
    parser.add_argument("--verbose", action="store_true", help="print every miss")
    args = parser.parse_args()
    vosk.SetLogLevel(-1)
    before = time.perf_counter()
    model = vosk.Model(str(args.model))
    print(f"load {time.perf_counter() - before:.2f} s")
    clips = load_clips(args.folder, args.noise)
    seconds, begun = 0.0, time.process_time()
    for name, (phrases, kinds) in lists_for(clips).items():
        results = score(model, clips, phrases, kinds)
        seconds += sum(len(clip.samples) for clip, _ in results) / RATE
        report(name, results, args.verbose)
    print(f"real-time factor {(time.process_time() - begun) / seconds:.3f} on one core")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MB, test clips included")


if __name__ == "__main__":
    main()
