"""Picks the filler words, which stand for speech outside the vocabulary: `python -m
models.recipe.fillers`.
 They are everyday words that don't sound much like anything the companion listens for, so that
chatter is matched by them and the vocabulary isn't. Writes models/fillers.txt, in the lexicon's
form.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from models.recipe import lexicon, steps
from models.recipe.lexicon import UNKNOWN
from models.recipe.speak import common_words

PATH = lexicon.DEFAULT_PATH.with_name("fillers.txt")
_LONG = 5
"""Words of so many sounds may come within one sound of the vocabulary; shorter ones only within
two."""


def distance(one: Sequence[str], other: Sequence[str]) -> int:
    """Edit distance: sounds to insert, drop or change."""
    row = list(range(len(other) + 1))
    for count, sound in enumerate(one, 1):
        last = [count]
        for at, match in enumerate(other, 1):
            last.append(min(row[at] + 1, last[-1] + 1, row[at - 1] + (sound != match)))
        row = last
    return row[-1]


def pick(candidates: Sequence[str], words: lexicon.Lexicon) -> list[str]:
    """Lexicon lines of the candidates that may serve, in their order. Words of the lexicon itself
    never do."""
    listed = {*" ".join([*steps.reading(), *steps.terminal(), *steps.answer()]).split()}
    listened = [sounds for word in listed - {UNKNOWN, *steps.DECOYS} for sounds in words[word]]
    outside = [word for word in candidates if word not in words]
    known, taken = lexicon.propose(outside), dict[tuple[str, ...], str]()
    for word in outside:
        sounds = known.get(word, ((),))[0]
        if len(sounds) < 2 or sounds in taken:
            continue
        nearest = min(distance(sounds, other) for other in listened)
        if nearest >= 2 or (nearest == 1 and len(sounds) >= _LONG):
            taken[sounds] = word
    return [f"{word} {' '.join(sounds)}" for sounds, word in taken.items()]


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="pick filler words")
    parser.add_argument("--from-most-frequent", type=int, default=3000)
    parser.add_argument("--out", type=Path, default=PATH)
    args = parser.parse_args()
    lines = pick(common_words(args.from_most_frequent), lexicon.load())
    head = "# Everyday words that stand for speech outside the vocabulary. Made by fillers.py.\n"
    args.out.write_text(head + "".join(f"{line}\n" for line in lines), "utf-8")
    print(f"{args.out}: {len(lines)} words")


if __name__ == "__main__":
    main()
