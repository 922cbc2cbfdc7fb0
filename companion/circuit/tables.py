"""The shipped tables of ``dialogs/circuit``, each read once.

Every one raises ``DataFileError``, naming file and key, where its file is at fault.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from companion.circuit.shapes import Conductors, Fuses, Meter, Sources
from companion.datafiles import folder, load
from companion.loads import Loads
from companion.loads import loads as shipped_loads


def place(name: str) -> Path:
    """A file or folder under ``dialogs/circuit``."""
    return folder("dialogs") / "circuit" / name


@cache
def conductors() -> Conductors:
    """Materials, constructions, and how far a cable is known."""
    return load(place("conductors.toml"), Conductors)


@cache
def meter() -> Meter:
    """A common handheld meter."""
    return load(place("meter.toml"), Meter)


@cache
def fuses() -> Fuses:
    """Blade fuses."""
    return load(place("fuses.toml"), Fuses)


@cache
def sources() -> Sources:
    """Transformer, Class 2 limits, pull-in."""
    return load(place("sources.toml"), Sources)


def loads() -> Loads:
    """Families of loads."""
    return shipped_loads()
