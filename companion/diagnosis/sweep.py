"""Choosing what to test next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence


def fixed_sweep(candidates: Sequence[str], findings: Mapping[str, str]) -> str | None:
    """The sweep the trade teaches: in order, each once; None when all are done."""
    return next((name for name in candidates if name not in findings), None)
