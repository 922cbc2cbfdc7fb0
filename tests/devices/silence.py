"""Silence on a wire."""

from __future__ import annotations


def silence_after(loud: list[float], stop_ended_s: float) -> float:
    """Seconds from "stop" to the first silence, which the next earcon may soon end.

    Args:
        loud: moments at which there was sound.
        stop_ended_s: when the word ended.
    """
    pauses = (a for a, b in zip(loud, [*loud[1:], float("inf")], strict=True) if b - a > 0.04)
    return next(at_s for at_s in pauses if at_s > stop_ended_s - 0.4) - stop_ended_s
