"""Which words were taken for which: corrections over all calls, to tune the vocabulary by."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from companion.review.handing import plain_cell
from companion.review.shelf import Shelved, shelved

COLUMNS = ("heard", "meant", "times", "heard_in_all", "share", "mean_confidence", "calls")


def misheard_table(calls: Path) -> str:
    """CSV, the most frequent first. ``share`` is of all times that the word was heard: a word
    with a high share wants another name, or a ``[same_sound]`` entry in vocabulary.toml."""
    return _csv(shelved(calls))


def _csv(calls: Iterable[Shelved]) -> str:
    times: Counter[tuple[str, str]] = Counter()
    heard: Counter[str] = Counter()
    sure: dict[tuple[str, str], list[float]] = {}
    where: dict[tuple[str, str], set[str]] = {}
    for call in calls:
        for words in call.facts.words.values():
            heard.update(word.text for word in words)
        for line, corrections in call.facts.corrected.items():
            # Put right twice, the last word counts.
            for correction in {c.word: c for c in corrections}.values():
                pair = (correction.heard, correction.meant)
                times[pair] += 1
                where.setdefault(pair, set()).add(call.folder.name)
                confidence = call.facts.words[line][correction.word].confidence
                if confidence is not None:
                    sure.setdefault(pair, []).append(confidence)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(COLUMNS)
    for pair, count in sorted(times.items(), key=lambda item: (-item[1], item[0])):
        word, meant = pair
        mean = sum(sure[pair]) / len(sure[pair]) if pair in sure else None
        table.writerow([
            plain_cell(word), plain_cell(meant), count, heard[word], f"{count / heard[word]:.3f}",
            "" if mean is None else f"{mean:.2f}", len(where[pair]),
        ])  # fmt: skip
    return out.getvalue()
