"""Packed training speech in memory: one long strip of samples, and where each utterance lies in
it.

`python -m models.recipe.corpus PACK...` decodes packs once, for several trainings to share.
"""

from __future__ import annotations

import argparse
import json
import random
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import torch
from numpy.typing import NDArray
from torch import Tensor

from models.recipe.loss import Target, Targets, stack, target

RATE = 16000
_SHORTEST, _LONGEST = 0.1, 9.0  # seconds


@dataclass(frozen=True)
class Corpus:
    """Samples (16-bit, RATE) and, for each utterance, its first sample, its length and its
    phones."""

    pool: Tensor
    starts: Tensor
    lengths: Tensor
    targets: Targets

    @property
    def rows(self) -> Tensor:
        """Numbers of all utterances."""
        return torch.arange(len(self.starts))


def _decode(path: Path) -> NDArray[np.int16]:
    audio, _ = soundfile.read(path, dtype="int16")
    return np.asarray(audio, np.int16)


def _unpack(pack: Path) -> tuple[NDArray[np.int16], list[tuple[int, int, str]]]:
    """A pack's samples, kept beside it once decoded, and its utterances: first and last sample,
    sounds."""
    rows = json.loads((pack / "labels.json").read_text("utf-8"))
    stems = list(dict.fromkeys(stem for stem, _, _, _ in rows))
    strip, ends = pack / "strip.npy", pack / "ends.npy"
    if not ends.exists():
        with ProcessPoolExecutor() as executor:
            audio = list(executor.map(_decode, (pack / f"{stem}.ogg" for stem in stems)))
        np.save(strip, np.concatenate(audio))
        np.save(ends, np.cumsum([len(part) for part in audio]))
    begins = dict(zip(stems, [0, *np.load(ends).tolist()], strict=False))
    return np.load(strip), [(begins[stem] + i, begins[stem] + j, s) for stem, i, j, s in rows]


def load(packs: list[Path], device: torch.device, joined: float = 0.0) -> Corpus:
    """Reads packs. Utterances too short, too long, or with more phones than fit are left out.

    `joined` utterances for each one read are made by joining two to four short ones with little or
    no pause: words said one by one, each with the melody of a word alone.
    """
    strips: list[NDArray[np.int16]] = []
    spans, items = list[tuple[int, int]](), list[Target]()
    at = 0
    for pack in packs:
        samples, entries = _unpack(pack)
        strips.append(samples)
        for start, stop, sounds in entries:
            item = target([word.split() for word in sounds.split(" | ")])
            # An output frame takes 30 ms, a phone at least one; a fast pace takes up to a sixth
            # away.
            enough = (
                sum(not optional for optional in item.optional) * 0.03 * 1.16
                < (stop - start) / RATE + 0.1
            )
            if enough and _SHORTEST * RATE < stop - start < _LONGEST * RATE:
                spans.append((at + start, at + stop))
                items.append(item)
        at += len(samples)
    strip = np.concatenate(strips)
    extra = _join(strip, spans, items, round(joined * len(items)))
    pool = torch.from_numpy(np.concatenate([strip, *extra])).to(device)
    starts = torch.tensor([start for start, _ in spans], device=device)
    lengths = torch.tensor([stop - start for start, stop in spans], device=device)
    return Corpus(pool, starts, lengths, stack(items, device))


def _join(
    strip: NDArray[np.int16], spans: list[tuple[int, int]], items: list[Target], count: int
) -> list[NDArray[np.int16]]:
    """Appends joined utterances to spans and items; returns their samples, which follow the
    strip."""
    rng = random.Random(5)
    short = [row for row, (start, stop) in enumerate(spans) if stop - start < 1.3 * RATE]
    pieces: list[NDArray[np.int16]] = []
    at = len(strip)
    for _ in range(count):
        rows = rng.sample(short, rng.choice([2, 2, 3, 4]))
        parts: list[NDArray[np.int16]] = []
        for row in rows:
            # The clips keep 50 ms of quiet at either end; mostly cut some of it away.
            cut = rng.choice([0, rng.randrange(int(0.045 * RATE))])
            parts.append(strip[spans[row][0] + cut : spans[row][1] - cut])
        phones, optional = list(items[rows[0]].phones), list(items[rows[0]].optional)
        for row in rows[1:]:
            optional[-1] = True  # the silence between two clips may be left out
            phones += items[row].phones[1:]
            optional += items[row].optional[1:]
        pieces += parts
        length = sum(len(part) for part in parts)
        spans.append((at, at + length))
        items.append(Target(tuple(phones), tuple(optional)))
        at += length
    return pieces


def batches(corpus: Corpus, rows: Tensor, seconds: float) -> list[Tensor]:
    """Shuffled batches of utterances of like length, each at most so many seconds long with its
    padding."""
    lengths = corpus.lengths[rows.to(corpus.lengths.device)].cpu().numpy() / RATE
    # A little jitter, so that each pass groups the utterances differently.
    order = np.argsort(
        lengths * np.random.default_rng(random.randrange(1 << 30)).uniform(0.85, 1.15, len(lengths))
    )
    groups: list[Tensor] = []
    group: list[int] = []
    longest = 0.0
    for at in order:
        longest = max(longest, float(lengths[at]) + 1.0)
        if group and longest * (len(group) + 1) > seconds:
            groups.append(rows[torch.tensor(group)].to(corpus.pool.device))
            group, longest = [], float(lengths[at]) + 1.0
        group.append(int(at))
    if group:
        groups.append(rows[torch.tensor(group)].to(corpus.pool.device))
    random.shuffle(groups)
    return groups


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="decode packs")
    parser.add_argument("packs", type=Path, nargs="+")
    for pack in parser.parse_args().packs:
        samples, entries = _unpack(pack)
        print(f"{pack}: {len(entries)} utterances, {len(samples) / RATE / 3600:.2f} h with gaps")


if __name__ == "__main__":
    main()
