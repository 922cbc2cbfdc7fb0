"""Short sounds that mean one thing each, told apart by rhythm as well as by pitch.

Of our own making: sums of decaying partials. ``heard`` is one rising blip, ``not_heard``
two falling ones, ``hold`` one long low swell.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Cue = Literal["heard", "not_heard", "hold"]
CUES: tuple[Cue, ...] = ("heard", "not_heard", "hold")

RATE = 16_000
"""Samples a second of what ``earcon`` makes."""

_LEVEL = 0.22


def _glide(from_hz: float, to_hz: float, length_s: float, decay_s: float) -> NDArray[np.float32]:
    """A tone that slides between two pitches, with a soft second partial and no click."""
    import numpy as np

    at = np.arange(round(length_s * RATE)) / RATE
    phase = 2 * np.pi * np.cumsum(from_hz + (to_hz - from_hz) * at / length_s) / RATE
    edge = np.minimum(1.0, np.minimum(at, length_s - at) / 0.008)
    tone = (np.sin(phase) + 0.3 * np.sin(2.01 * phase)) * np.exp(-at / decay_s) * edge
    sound: NDArray[np.float32] = (_LEVEL * tone / 1.3).astype(np.float32)
    return sound


def earcon(cue: Cue) -> NDArray[np.float32]:
    """The sound of a cue: mono, −1 … 1, at ``RATE``; 0.09 to 0.4 s long."""
    import numpy as np

    if cue == "heard":
        return _glide(620, 930, 0.09, 0.08)
    gap = np.zeros(round(0.05 * RATE), np.float32)
    if cue == "not_heard":
        return np.concatenate([_glide(520, 410, 0.09, 0.08), gap, _glide(410, 310, 0.12, 0.1)])
    return _glide(290, 300, 0.4, 0.5)
