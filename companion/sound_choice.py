"""Which microphone and loudspeaker: named for this call, or as last time."""

from __future__ import annotations

import json
import os
from pathlib import Path


def _file() -> Path:
    base = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
    return Path(base) / "companion" / "sound.json"


def chosen(named: str | None) -> str | None:
    """Part of a device's name, or None for the system's default.

    A name given is remembered for the next time; ``default`` forgets it. What is
    remembered is only a habit: where it can't be read or written, the default serves.
    """
    file = _file()
    if named is None:
        try:
            found = json.loads(file.read_text(encoding="utf-8")).get("device")
        except (OSError, ValueError, AttributeError):
            return None
        return found if isinstance(found, str) else None
    device = None if named == "default" else named
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps({"device": device}), encoding="utf-8")
    except OSError:
        pass
    return device
