"""The pronunciation lexicon: one word a line with its sounds in ARPAbet; several lines are several
ways to say it.

`python -m models.recipe.lexicon WORD ...` prints candidate lines for new words, from the
dictionary that the pocketsphinx package carries; choose, and append them to models/lexicon.txt.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path

PHONES = (
    *("AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH"),
    *("IH", "IY", "JH", "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH"),
    *("UH", "UW", "V", "W", "Y", "Z", "ZH"),
)
"""The sounds of English in ARPAbet, in the order of the acoustic model's classes."""

UNKNOWN = "[unk]"
"""The recogniser's name for speech that is none of its words."""

OTHER = "[other]"
"""An everyday word that is none of the recogniser's own."""

DEFAULT_PATH = Path(__file__).resolve().parents[1] / "lexicon.txt"

Lexicon = dict[str, tuple[tuple[str, ...], ...]]
"""Word to its pronunciations."""


def parse(text: str, source: str = "lexicon") -> Lexicon:
    """Reads lexicon lines; "#" starts a comment.

    Raises ValueError, naming the source and line, for a word without sounds, an unknown sound, or a
    repeated line.
    """
    lexicon: dict[str, list[tuple[str, ...]]] = {}
    for number, line in enumerate(text.splitlines(), 1):
        word, *sounds = line.split("#", 1)[0].split() or [""]
        if not word:
            continue
        where = f"{source}, line {number}: {word}"
        unknown = sorted(set(sounds) - set(PHONES))
        if not sounds or unknown:
            raise ValueError(
                f"{where}: " + (f"unknown sounds {' '.join(unknown)}" if unknown else "no sounds")
            )
        if tuple(sounds) in lexicon.setdefault(word, []):
            raise ValueError(f"{where}: the same pronunciation twice")
        lexicon[word].append(tuple(sounds))
    return {word: tuple(ways) for word, ways in lexicon.items()}


def load(path: Path = DEFAULT_PATH) -> Lexicon:
    """Reads a lexicon file. Raises OSError if it can't be read, ValueError if it is malformed."""
    return parse(path.read_text("utf-8"), path.name)


def propose(words: Iterable[str]) -> Lexicon:
    """Pronunciations that the pocketsphinx package's US dictionary has for these words; missing
    words are left out."""
    text = files("pocketsphinx").joinpath("model/en-us/cmudict-en-us.dict").read_text("utf-8")
    wanted, found = set(words), dict[str, list[tuple[str, ...]]]()
    for line in text.splitlines():
        head, *sounds = line.split()
        word = re.sub(r"\(\d+\)$", "", head)
        if word in wanted:
            found.setdefault(word, []).append(tuple(sounds))
    return {word: tuple(dict.fromkeys(ways)) for word, ways in found.items()}


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="print candidate lexicon lines for words")
    parser.add_argument("words", nargs="+")
    words = parser.parse_args().words
    found = propose(words)
    for word in words:
        for sounds in found.get(word, ()):
            print(word, *sounds)
        if word not in found:
            print(f"# {word}: not in the dictionary; write its sounds by hand")


if __name__ == "__main__":
    main()
