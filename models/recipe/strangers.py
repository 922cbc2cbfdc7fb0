"""Everyday words that are not the companion's: models/strangers.txt, each heard as [other].

A word that nobody meant for the companion comes out as the nearest of its words, unless the
recogniser knows a nearer one that means nothing. `python -m models.recipe.strangers COUNT` writes
the list anew: the most frequent English words (wordfreq) with the pronunciations that the
pocketsphinx package has. Words of the lexicon, and what sounds like one or two of them, are left
out when the graph is built, so the list need not change when the lexicon does.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray

from models.recipe import lexicon
from models.recipe.lexicon import PHONES, Lexicon

PATH = lexicon.DEFAULT_PATH.with_name("strangers.txt")
_ALIKE = (
    *("B P", "D T", "G K", "V F", "DH TH", "Z S", "ZH SH", "JH CH", "M N", "N NG", "DH D", "TH T"),
    *("TH F", "V B", "W V", "L W", "R W", "R ER", "AA AO", "AA AH", "AH AO", "AH UH", "AH IH"),
    *("AH EH", "IH EH", "IH IY", "UH UW", "UH OW", "AO OW", "AE EH", "EH EY", "AY AA", "AW AA"),
    *("AW AO", "OY AO", "AH ER", "AH AE", "UW Y", "IY Y", "TH S", "DH Z", "DH V"),
)
"""Sounds that a hurried ear takes for each other; a judgement."""
_HALF = 0.5
_FAR = 2.0

Sounds = tuple[str, ...]


def _costs() -> NDArray[np.float64]:
    costs = 1.0 - np.eye(len(PHONES) + 1)
    for pair in _ALIKE:
        one, two = (PHONES.index(sound) for sound in pair.split())
        costs[one, two] = costs[two, one] = _HALF
    return costs


class Neighbours:
    """How near sounds are to the nearest word of a lexicon, in sounds that differ: one for each
    left out, put in or changed, half for one changed into a like sound; two at most."""

    def __init__(self, words: Lexicon) -> None:
        ways = sorted({way for all_ways in words.values() for way in all_ways}, key=len)
        self._lengths = np.array([len(way) for way in ways])
        self._ways = np.full((len(ways), len(ways[-1])), len(PHONES))
        for row, way in enumerate(ways):
            self._ways[row, : len(way)] = [PHONES.index(sound) for sound in way]
        self._costs = _costs()
        self._known: dict[Sounds, float] = {}

    def distance(self, sounds: Sounds) -> float:
        """To the nearest word."""
        if sounds not in self._known:
            self._known[sounds] = self._nearest(sounds)
        return self._known[sounds]

    def distance_to_two(self, sounds: Sounds) -> float:
        """To the nearest word, or two words in a row."""
        cuts = range(1, len(sounds))
        pairs = (self.distance(sounds[:cut]) + self.distance(sounds[cut:]) for cut in cuts)
        return min(self.distance(sounds), *pairs) if len(sounds) > 1 else self.distance(sounds)

    def _nearest(self, sounds: Sounds) -> float:
        # A word longer or shorter by two sounds is two away at least.
        low, high = np.searchsorted(self._lengths, [len(sounds) - 1, len(sounds) + 2])
        if low == high:
            return _FAR
        lengths = self._lengths[low:high]
        ways = self._ways[low:high, : int(lengths[-1])]
        rows, width = ways.shape
        before = np.tile(np.arange(width + 1.0), (rows, 1))
        for sound in sounds:
            changed = before[:, :-1] + self._costs[PHONES.index(sound)][ways]
            now = np.empty_like(before)
            now[:, 0] = before[:, 0] + 1
            np.minimum(before[:, 1:] + 1, changed, out=now[:, 1:])
            for at in range(1, width + 1):
                np.minimum(now[:, at], now[:, at - 1] + 1, out=now[:, at])
            before = now
        return min(_FAR, float(before[np.arange(rows), lengths].min()))


def chosen(strangers: Lexicon, words: Lexicon) -> dict[Sounds, float]:
    """Pronunciations of strangers that sound like no one or two words of the lexicon, with the
    distance to the nearest."""
    near = Neighbours(words)
    found: dict[Sounds, float] = {}
    for stranger, ways in strangers.items():
        if stranger in words or any(near.distance_to_two(way) <= _HALF for way in ways):
            continue
        found |= {way: near.distance(way) for way in ways}
    return found


def main() -> None:
    """Command line."""
    from models.recipe.speak import common_words

    parser = argparse.ArgumentParser(description="list everyday words with their sounds")
    parser.add_argument("count", type=int)
    found = lexicon.propose(words := common_words(parser.parse_args().count))
    lines = [f"{word} {' '.join(way)}" for word in words for way in found.get(word, ())]
    PATH.write_text("".join(f"{line}\n" for line in lines), "utf-8")
    print(f"{PATH}: {len(found)} words, {len(lines)} pronunciations")


if __name__ == "__main__":
    main()
