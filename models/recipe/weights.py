"""Training's result as a file (NumPy archive) and as layers of the acoustic model."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from models.recipe.acoustic import Layer, Model
from models.recipe.kaldi_binary import Floats

_FIRST_OFFSETS = ((-2, -1, 0, 1, 2), (-1, 0, 1))
_FURTHER_OFFSETS = (-3, 0, 3)
PRIOR_FLOOR = 1e-5
"""Added to the classes' prior before its logarithm is taken."""


def default_offsets(layers: int) -> tuple[tuple[int, ...], ...]:
    """Frame offsets of a network of `layers` affine layers, the last of which sees one frame."""
    hidden = [*_FIRST_OFFSETS, *([_FURTHER_OFFSETS] * max(0, layers - 3))][: layers - 1]
    return (*hidden, (0,))


def load(path: Path, prior_scale: float) -> Model:
    """Layers of an archive with arrays w0, b0, w1, ... and `pri`, the classes' prior; `residual`
    lists layers.

    The prior, to the power of -prior_scale, is folded into the last bias: training divided by it.
    Raises OSError, KeyError or ValueError for a file that is none of this.
    """
    with np.load(path) as archive:
        arrays: dict[str, Floats] = {name: np.asarray(archive[name]) for name in archive.files}
    count = sum(name.startswith("w") for name in arrays)
    residual = {int(number) for number in arrays.get("residual", np.zeros(0))}
    prior = np.log(arrays["pri"].astype(np.float64) + PRIOR_FLOOR)
    layers: list[Layer] = []
    for number, offsets in enumerate(default_offsets(count)):
        bias = arrays[f"b{number}"].astype(np.float64)
        if number == count - 1:
            bias = bias - prior_scale * prior
        weight = arrays[f"w{number}"].astype(np.float32)
        layers.append(Layer(offsets, weight, bias.astype(np.float32), number in residual))
    return tuple(layers)
