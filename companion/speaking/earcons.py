"""Short sounds that mean one thing each, told apart by rhythm as well as by pitch.

Of our own making: sums of decaying partials. ``heard`` is one rising blip, ``not_heard``
two falling ones, ``hold`` one long low swell. ``opening`` is three strokes of a brush, with
every pitch of a voice in them: from it an echo canceller learns how much of the companion
the microphone hears, before a word is said that somebody may speak over.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Cue = Literal["opening", "heard", "not_heard", "hold"]
CUES: tuple[Cue, ...] = ("opening", "heard", "not_heard", "hold")

RATE = 16_000
"""Samples a second of what ``earcon`` makes."""

_LEVEL = 0.22
_BRUSH_LEVEL = 0.06  # root mean square; the strokes themselves are as loud as a prompt
_BRUSH_HZ = (150, 6500)


def _glide(from_hz: float, to_hz: float, length_s: float, decay_s: float) -> NDArray[np.float32]:
    """A tone that slides between two pitches, with a soft second partial and no click."""
    import numpy as np

    at = np.arange(round(length_s * RATE)) / RATE
    phase = 2 * np.pi * np.cumsum(from_hz + (to_hz - from_hz) * at / length_s) / RATE
    edge = np.minimum(1.0, np.minimum(at, length_s - at) / 0.008)
    tone = (np.sin(phase) + 0.3 * np.sin(2.01 * phase)) * np.exp(-at / decay_s) * edge
    sound: NDArray[np.float32] = (_LEVEL * tone / 1.3).astype(np.float32)
    return sound


def _brush(strokes: int, length_s: float) -> NDArray[np.float32]:
    """Pink noise that swells and ebbs, the same every time."""
    import numpy as np

    at = np.arange(round(length_s * RATE)) / RATE
    hz = np.fft.rfftfreq(len(at), 1 / RATE)
    low, high = _BRUSH_HZ
    spectrum = np.fft.rfft(np.random.default_rng(1).normal(0, 1, len(at)))
    noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(hz, low)) * (hz < high), len(at))
    edge = np.minimum(1.0, np.minimum(at, length_s - at) / 0.02)
    sound = noise * edge * (0.35 + 0.65 * np.abs(np.sin(np.pi * strokes * at / length_s)))
    brush: NDArray[np.float32] = (_BRUSH_LEVEL * sound / np.sqrt(np.mean(sound**2))).astype(
        np.float32
    )
    return brush


def earcon(cue: Cue) -> NDArray[np.float32]:
    """The sound of a cue: mono, −1 … 1, at ``RATE``; 0.09 to 0.6 s long."""
    import numpy as np

    if cue == "opening":
        return _brush(strokes=3, length_s=0.6)
    if cue == "heard":
        return _glide(620, 930, 0.09, 0.08)
    gap = np.zeros(round(0.05 * RATE), np.float32)
    if cue == "not_heard":
        return np.concatenate([_glide(520, 410, 0.09, 0.08), gap, _glide(410, 310, 0.12, 0.1)])
    return _glide(290, 300, 0.4, 0.5)
