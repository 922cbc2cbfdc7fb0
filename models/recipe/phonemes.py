"""Word sounds in the two alphabets used here: the synthesiser's and the dictionary's (ARPAbet).

The neural voices are driven with phonemes (IPA-like), not spelling, so the label that training
sees is exactly what was asked of the voice. `spoken` turns a token into those phonemes;
`to_arpabet` turns phonemes into labels.
"""

from __future__ import annotations

import random
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

with Path(__file__).with_name("phonemes.toml").open("rb") as _file:
    _TABLES: dict[str, dict[str, Any]] = tomllib.load(_file)

LETTERS: dict[str, list[str]] = _TABLES["letters"]
"""Ways to say the name of each capital letter, the usual one first."""

SPOKEN: dict[str, list[str]] = _TABLES["words"]
"""Words whose dictionary form is missing or is not how people say them at a meter."""

_ARPABET: dict[str, str] = _TABLES["arpabet"]
_MARKS = re.compile("[ˈˌː]")


@cache
def small_voice() -> Any:
    """The small neural engine, which also turns spelling into phonemes."""
    # Heavy, and needed by the recipe only.
    import hibari  # type: ignore[import-untyped]

    return hibari.Hibari()


@cache
def dictionary(word: str) -> str:
    """Phonemes of a word as the synthesiser's own dictionary has them."""
    found = small_voice().phonemize(word)
    return re.sub("[^\\w ˈˌːᵊᵻ]", "", " ".join(found)).strip()


def spoken(token: str, rng: random.Random) -> str:
    """Phonemes of one token, chosen among its ways of being said; empty if it isn't one word."""
    forms = LETTERS.get(token) or SPOKEN.get(token) or [dictionary(token)]
    # The usual form is listed first (and repeated): variants stay a minority.
    chosen = forms[0] if rng.random() < 0.6 else rng.choice(forms)
    return "" if " " in chosen else chosen


def to_arpabet(phonemes: str) -> tuple[str, ...]:
    """Dictionary labels of one word's phonemes; stress and length marks are dropped.

    Raises KeyError for a symbol that English doesn't use.
    """
    bare = _MARKS.sub("", phonemes)
    bare = re.sub("[ɜəɐᵊ]ɹ", "ɚ", bare)
    return tuple(_ARPABET[symbol] for symbol in bare)
