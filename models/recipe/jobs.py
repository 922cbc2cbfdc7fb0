"""Training speech made on another machine, which has many cores but neither texts nor dictionaries.

`python -m models.recipe.jobs write JOBS --voices FOLDER --count 20000` draws what is to be said and
by whom; `python -m models.recipe.jobs speak JOBS PACK --minutes 8` says as much of it as it can and
leaves a decoded pack (see corpus.py).
"""

from __future__ import annotations

import argparse
import json
import random
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from models.recipe import lexicon, voices
from models.recipe.pack import labels_of
from models.recipe.speak import common_words, pronounced, trimmed
from models.recipe.step_texts import StepTexts
from models.recipe.texts import TextSource
from models.recipe.voices import RATE, Audio

_SHARE_OF_STEPS = 0.65


def write(out: Path, neural: voices.Neural, count: int, seed: int) -> None:
    """Draws jobs: jobs.json (phonemes, speed, sounds of the words) and styles.npy."""
    rng = random.Random(f"jobs {seed}")
    common, words = common_words(), lexicon.load()
    dictionary = lexicon.propose(word for word in common if word not in words)
    sources = [StepTexts(rng, common), TextSource(rng, common)]
    jobs: list[tuple[str, float, str]] = []
    styles: list[Any] = []
    while len(jobs) < count:
        utterance = sources[rng.random() > _SHARE_OF_STEPS].draw()
        sounds, text = pronounced(utterance, rng)
        note = {"tokens": utterance.tokens, "sounds": sounds}
        labels = labels_of(note, words, dictionary, Counter()) if sounds else None
        if not labels:
            continue
        table, _ = neural.random_style(rng, stretch=True)
        shift = rng.choice([0, 0, 0, rng.randint(-3, 40)])
        speed = min(max(rng.lognormvariate(0.0, 0.17), 0.7), 1.45)
        jobs.append((text, round(speed, 3), " | ".join(" ".join(word) for word in labels)))
        styles.append(voices.style_of(text, table, shift).astype(np.float16))
    out.mkdir(parents=True, exist_ok=True)
    (out / "jobs.json").write_text(json.dumps(jobs, ensure_ascii=False), "utf-8")
    np.save(out / "styles.npy", np.stack(styles))


def _some(task: tuple[Path, int, int, float]) -> list[tuple[int, Any]]:
    """One process's share: numbers of jobs and their samples, until the time is up."""
    folder, part, parts, until = task
    jobs = json.loads((folder / "jobs.json").read_text("utf-8"))
    styles = np.load(folder / "styles.npy", mmap_mode="r")
    done: list[tuple[int, Any]] = []
    for number in range(part, len(jobs), parts):
        if time.time() > until:
            break
        phonemes, speed, _ = jobs[number]
        audio: Audio = trimmed(voices.say_in_style(phonemes, styles[number], speed))
        if 0.08 * RATE < len(audio) < 12 * RATE:
            done.append((number, np.round(audio * 32767).astype(np.int16)))
    return done


def speak(folder: Path, pack: Path, minutes: float, processes: int) -> None:
    """Says the jobs of a folder."""
    until = time.time() + minutes * 60
    with ProcessPoolExecutor(processes) as executor:
        tasks = [(folder, part, processes, until) for part in range(processes)]
        done = [item for some in executor.map(_some, tasks) for item in some]
    jobs = json.loads((folder / "jobs.json").read_text("utf-8"))
    pack.mkdir(parents=True, exist_ok=True)
    ends = np.cumsum([len(samples) for _, samples in done])
    rows = [(str(number), 0, len(samples), jobs[number][2]) for number, samples in done]
    (pack / "labels.json").write_text(json.dumps(rows), "utf-8")
    np.save(pack / "strip.npy", np.concatenate([samples for _, samples in done]))
    np.save(pack / "ends.npy", ends)
    print(f"{pack}: {len(done)} utterances, {ends[-1] / RATE / 3600:.2f} h", flush=True)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="make training speech on another machine")
    parser.add_argument("verb", choices=["write", "speak"])
    parser.add_argument("jobs", type=Path)
    parser.add_argument("pack", type=Path, nargs="?", help="for speak: folder to leave it in")
    parser.add_argument("--voices", type=Path, help="for write: the neural voices' style tables")
    parser.add_argument("--count", type=int, default=20000)
    parser.add_argument("--seed", type=int, default=24)
    parser.add_argument("--minutes", type=float, default=8)
    parser.add_argument("--processes", type=int, default=16)
    args = parser.parse_args()
    if args.verb == "write":
        write(args.jobs, voices.Neural(args.voices), args.count, args.seed)
    else:
        speak(args.jobs, args.pack, args.minutes, args.processes)


if __name__ == "__main__":
    main()
