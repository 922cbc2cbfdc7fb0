"""Training's result as a file (NumPy archive) and as layers of the acoustic model."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from models.recipe.acoustic import Layer, Model
from models.recipe.kaldi_binary import Floats

PRIOR_FLOOR = 1e-5
"""Added to the classes' prior before its logarithm is taken."""


def load(path: Path, prior_scale: float) -> Model:
    """Layers of an archive that training wrote: what `network.Network.folded` tells, and `pri`, the
    classes' prior.

    The prior, to the power of -prior_scale, is folded into the last bias: training divided by it.
    Raises OSError, KeyError or ValueError for a file that is none of this.
    """
    with np.load(path) as archive:
        arrays: dict[str, Floats] = {name: np.asarray(archive[name]) for name in archive.files}
    prior = np.log(arrays["pri"].astype(np.float64) + PRIOR_FLOOR)
    layers: list[Layer] = []
    for number, (skips, rectified) in enumerate(
        zip(arrays["skips"], arrays["rectified"], strict=True)
    ):
        bias = arrays[f"b{number}"].astype(np.float64)
        if number == len(arrays["skips"]) - 1:
            bias = bias - prior_scale * prior
        offsets = tuple(int(offset) for offset in arrays[f"o{number}"])
        weight = arrays[f"w{number}"].astype(np.float32)
        layers.append(Layer(offsets, weight, bias.astype(np.float32), int(skips), bool(rectified)))
    return tuple(layers)
