"""Taking persons and places out of a record before it is given away.

What was dictated is free speech; names can't be told from other words by their looks. So the
rule is the other way round: of free words only those stay that the companion's own dialogs
use, and every number in a note goes. Sound goes altogether. What is left has no seals: it is
not the record, and says so.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from pathlib import Path
from typing import Any

from companion.journal import Past
from companion.messages import Entry

BLANK = "[…]"
_FREE = frozenset({"text", "said", "heard", "meant", "by"})
_OURS = frozenset({"spoken", "prompt", "trouble"})
_DICTATED = frozenset({"note", "remark"})
_WORD = re.compile(r"[^\W\d_][\w'’]*|\d[\d.,:/-]*")


def known_words(dialogs: Path) -> frozenset[str]:
    """Every word that stands anywhere in the dialogs."""
    words: set[str] = set()
    for path in dialogs.rglob("*.toml"):
        words.update(re.findall(r"[^\W\d_]+", path.read_text(encoding="utf-8").casefold()))
    return frozenset(words)


def redacted(
    entries: Iterable[Entry], keep: Collection[str], hide: Iterable[str] = ()
) -> list[Entry]:
    """The same entries without sound, without seals, and without words off the list.

    Args:
        keep: words that stay, in lower case.
        hide: more that goes, such as a family name that is also a word of the trade.
    """
    kept = frozenset(keep) - {part.casefold() for name in hide for part in _WORD.findall(name)}
    made = []
    for entry in entries:
        fields = entry.model_dump(mode="json")
        fields["message"] = _cleaned(fields["message"], kept, fields["message"]["kind"])
        made.append(Entry.model_validate({**fields, "clip_sha256": None, "chain": ""}))
    return made


def redacted_past(past: Past, dialogs: Path, hide: Iterable[str] = ()) -> Past:
    """A record to be shown around: nothing in it can be checked against the real one."""
    entries = redacted(past.entries, known_words(dialogs), hide)
    return Past(tuple(entries), version=past.version)


def _cleaned(value: Any, kept: frozenset[str], kind: str, name: str = "") -> Any:
    if isinstance(value, dict):
        return {
            key: None if key == "clip" else _cleaned(inner, kept, kind, key)
            for key, inner in value.items()
        }
    if isinstance(value, list):
        return [_cleaned(inner, kept, kind, name) for inner in value]
    if isinstance(value, str) and name in _FREE and kind not in _OURS:
        return _masked(value, kept, numbers=kind not in _DICTATED)
    return value


def _masked(text: str, kept: frozenset[str], *, numbers: bool) -> str:
    def word(found: re.Match[str]) -> str:
        text = found.group()
        stays = numbers if text[0].isdigit() else text.casefold() in kept
        return text if stays else BLANK

    return _WORD.sub(word, text)
