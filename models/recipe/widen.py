"""Makes a trained network wider without changing what it computes, so that training can go on
with more weights in place of beginning from nothing."""

from __future__ import annotations

import torch

from models.recipe.network import Arrays


def widened(arrays: Arrays, width: int, seed: int = 1) -> Arrays:
    """Folded layers (see network.Network.folded) with `width` channels in place of fewer.

    Some channels are doubled; what follows takes an uneven share of either half, so that the two
    drift apart in training. Raises ValueError if the network has more channels already, or layers
    of a lower rank.
    """
    count = sum(name.startswith("w") for name in arrays)
    now = len(arrays["b1"])
    if width == now:
        return arrays
    if width < now or any(len(arrays[f"b{number}"]) != now for number in range(count - 1)):
        raise ValueError(f"{now} channels can't become {width}")
    generator = torch.Generator().manual_seed(seed)
    doubled = torch.randperm(now, generator=generator)[: width - now]
    chosen = torch.cat([torch.arange(now), doubled])
    share = torch.ones(width)
    share[now:] = 0.3 + 0.4 * torch.rand(width - now, generator=generator)
    share[doubled] = 1 - share[now:]
    wide = dict(arrays)
    for number in range(count):
        weight = arrays[f"w{number}"]
        if number:
            taps = weight.reshape(len(weight), -1, now)[:, :, chosen] * share
            weight = taps.reshape(len(weight), -1)
        if number < count - 1:
            weight, wide[f"b{number}"] = weight[chosen], arrays[f"b{number}"][chosen]
        wide[f"w{number}"] = weight
    return wide
