"""One entry as one line, sealed to the line before it.

The seal shows a change to any line that was made without sealing every later one anew. It
is no signature: who rewrites the whole end can seal it. The last seal is therefore printed
on every page and text made of a call; a rewritten record no longer matches those.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from typing import Any

from companion.messages import SCHEMA_VERSION, Entry

_SEAL = re.compile(rb', "chain": "([0-9a-f]{64})"\}$')


def seal(before: str, entry: Entry) -> tuple[bytes, str]:
    """The entry's line, and its seal; ``before`` is the seal of the line before."""
    fields = entry.model_dump(mode="json", exclude={"chain"})
    body = json.dumps(fields, ensure_ascii=False).encode()
    mark = hashlib.sha256(before.encode() + body).hexdigest()
    return body[:-1] + f', "chain": "{mark}"}}\n'.encode(), mark


def sealed(line: bytes) -> bool:
    """Whether a line carries a seal at all; those of schema 1 do not."""
    return _SEAL.search(line) is not None


def holds(before: str, line: bytes) -> bool:
    """Whether a line's seal is the one that follows from the line and the seal before."""
    found = _SEAL.search(line)
    if found is None:
        return False
    body = line[: found.start()] + b"}"
    return hashlib.sha256(before.encode() + body).hexdigest().encode() == found.group(1)


def entry_of(line: bytes, version: int) -> Entry:
    """The entry on a line that was written by schema ``version``.

    Raises:
        ValueError: the line is not an entry.
    """
    if version == SCHEMA_VERSION:
        return Entry.model_validate_json(line)
    fields = json.loads(line)
    for step in range(version, SCHEMA_VERSION):
        fields = _MIGRATIONS[step](fields)
    return Entry.model_validate(fields)


def _from_1(fields: dict[str, Any]) -> dict[str, Any]:
    """Schema 1 had no seals, neither of lines nor of sound."""
    return {"clip_sha256": None, "chain": "", **fields}


_MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {1: _from_1}
