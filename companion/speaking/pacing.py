"""When each word of a prompt is being said."""

from __future__ import annotations

import re
from typing import NamedTuple

_WORD = re.compile(r"[a-z']+")


class Said(NamedTuple):
    """A word and when it sounds, in seconds from the start of the prompt."""

    word: str
    start_s: float
    end_s: float


def paced(text: str, length_s: float) -> list[Said]:
    """Each word of a prompt with its time, by its share of the letters.

    Good to about half a second on prompts of up to ten seconds, which is what an
    echo check needs; no engine that pyttsx3 drives tells better for a file.
    """
    lowered = text.lower()
    scale = length_s / max(1, len(lowered))
    return [
        Said(match[0], match.start() * scale, match.end() * scale)
        for match in _WORD.finditer(lowered)
    ]
