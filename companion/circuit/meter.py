"""What a handheld meter's reading may be off by."""

from __future__ import annotations

from math import hypot

from companion.circuit.shapes import Range
from companion.circuit.uncertainty import rectangular, resolution


def limit(reading: float, span: Range) -> float:
    """+-(relative x reading + counts x resolution), in the reading's unit."""
    return span.relative * abs(reading) + span.counts * span.resolution


def standard(reading: float, span: Range) -> float:
    """Standard uncertainty of one reading: accuracy limit and display step, both rectangular."""
    return hypot(rectangular(limit(reading, span)), resolution(span.resolution))


def display(value: float, span: Range) -> float | None:
    """What the meter shows for a value: rounded to its step; None for over limit.

    Below 100 the step is ``resolution``; above, three and a half digits remain.
    """
    if value > span.most:
        return None
    step = span.resolution
    while abs(value) >= 2000.0 * step:
        step *= 10.0
    return round(value / step) * step
