"""Packs shards of training speech for the trip to the training machine: `python -m
models.recipe.pack SHARDS OUT`.

Each shard becomes one Opus file (about 18 kbit/s); labels.json lists, for every utterance, its
shard, first and last sample and the sounds of its words. Words of the lexicon take the lexicon's
own pronunciation where it differs from what the voice was asked for only in a reduced vowel, so
that training and decoding agree.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections import Counter
from pathlib import Path
from typing import Any

import soundfile

from models.recipe import lexicon
from models.recipe.lexicon import Lexicon
from models.recipe.phonemes import LETTERS, to_arpabet

_REDUCED = {"IH": "AH", "UH": "AH", "AO": "AA"}
_BITRATE = 0.955  # libsndfile's compression level for about 18 kbit/s


def _rough(sounds: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(_REDUCED.get(sound, sound) for sound in sounds)


def labels_of(
    note: dict[str, Any], words: Lexicon, dictionary: Lexicon, missing: Counter[str]
) -> Any:
    """Sounds of each word of an utterance, or None if a word's sounds aren't known."""
    tokens = [token for token in note["tokens"] if token not in ",."]
    asked = note["sounds"] or [None] * len(tokens)
    labels: list[tuple[str, ...]] = []
    for token, phonemes in zip(tokens, asked, strict=True):
        ways = words.get(token.lower()) or dictionary.get(token, ())
        if phonemes is None:
            if not ways:
                return None
            labels.append(to_arpabet(LETTERS[token][0]) if token in LETTERS else ways[0])
            continue
        spoken = to_arpabet(phonemes)
        agreed = [way for way in ways if way == spoken] or [
            way for way in ways if _rough(way) == _rough(spoken)
        ]
        if token.lower() in words and not agreed:
            missing[f"{token} {' '.join(spoken)}"] += 1
        labels.append(agreed[0] if agreed else spoken)
    return labels


def read_shards(folder: Path) -> dict[str, list[dict[str, Any]]]:
    """Notes of each shard of a folder, by the stem of its audio file."""
    return {
        path.stem: json.loads(path.read_text("utf-8")) for path in sorted(folder.glob("*.json"))
    }


def read_manifest(folder: Path) -> dict[str, list[dict[str, Any]]]:
    """The clips of a folder with a manifest, each as a shard of one utterance."""
    notes: dict[str, list[dict[str, Any]]] = {}
    with (folder / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            length = soundfile.info(folder / row["file"]).frames
            note = {"words": row["transcript"].split(), "sounds": None, "start": 0, "stop": length}
            notes[Path(row["file"]).stem] = [{**note, "tokens": row["transcript"].split()}]
    return notes


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="pack training speech into Opus files and labels")
    parser.add_argument("shards", type=Path)
    parser.add_argument("out", type=Path)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    words, missing = lexicon.load(), Counter[str]()
    notes = (
        read_manifest(args.shards)
        if (args.shards / "manifest.tsv").exists()
        else read_shards(args.shards)
    )
    unlisted = {
        word
        for shard in notes.values()
        for note in shard
        for word in note["words"]
        if word not in words
    }
    dictionary = lexicon.propose(unlisted)
    rows: list[Any] = []
    for stem, shard in notes.items():
        packed = args.out / f"{stem}.ogg"
        if not packed.exists():
            audio, rate = soundfile.read(args.shards / f"{stem}.flac", dtype="float32")
            partial = packed.with_suffix(
                ".part"
            )  # so that an interrupted run leaves no half file under its name
            soundfile.write(
                partial, audio, rate, format="OGG", subtype="OPUS", compression_level=_BITRATE
            )
            partial.rename(packed)
        for note in shard:
            labels = labels_of(note, words, dictionary, missing)
            if labels:
                rows.append(
                    [
                        stem,
                        note["start"],
                        note["stop"],
                        " | ".join(" ".join(sounds) for sounds in labels),
                    ]
                )
    (args.out / "labels.json").write_text(json.dumps(rows), "utf-8")
    hours = sum(stop - start for _, start, stop, _ in rows) / 16000 / 3600
    print(f"{len(rows)} utterances, {hours:.2f} h; lexicon lacks {missing.most_common(30)}")


if __name__ == "__main__":
    main()
