"""The acoustic network: dilated convolutions with residual sums, foldable into plain affine
layers."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor, nn

from models.recipe.acoustic import FEATURES
from models.recipe.topology import CLASSES

STRIDE = 3
"""Input frames for one output frame."""
_ENTRY = ((-2, -1, 0, 1, 2), (-1, 0, 1))
Offsets = tuple[int, ...]
Arrays = dict[str, Tensor]


@dataclass(frozen=True)
class Shape:
    """`deep` has the frame offsets of each residual layer, evenly spaced multiples of STRIDE.

    With a rank, a residual layer is two: a linear one down to `rank` channels, which takes half of
    the reach, and one up again, which takes the other half.
    """

    width: int = 448
    rank: int = 0
    deep: tuple[Offsets, ...] = ((-3, 0, 3),) * 6

    def layers(self) -> list[tuple[int, int, Offsets, int, bool]]:
        """Every affine layer but the last: inputs, outputs, offsets, layers that its residual sum
        skips (0 for no sum), whether a rectifier follows."""
        found = [
            (FEATURES, self.width, _ENTRY[0], 0, True),
            (self.width, self.width, _ENTRY[1], 0, True),
        ]
        for offsets in self.deep:
            if not self.rank:
                found.append((self.width, self.width, offsets, 1, True))
                continue
            step = offsets[1] - offsets[0]
            down, up = (-step, 0), tuple(o + step for o in offsets[:-1])
            found.append((self.width, self.rank, down, 0, False))
            found.append((self.rank, self.width, up, 2, True))
        return found


class Network(nn.Module):
    """Input (batch, 40, frames + left + right), output log scores (batch, ceil(frames / 3),
    classes)."""

    def __init__(self, shape: Shape, dropout: float = 0.1) -> None:
        super().__init__()
        self.plan, self.width = shape.layers(), shape.width
        self.left = -sum(min(offsets) for _, _, offsets, _, _ in self.plan)
        self.right = sum(max(offsets) for _, _, offsets, _, _ in self.plan)
        self.layers = nn.ModuleList(
            nn.Conv1d(inputs, outputs, len(offsets), dilation=_dilation(number, offsets))
            for number, (inputs, outputs, offsets, _, _) in enumerate(self.plan)
        )
        self.norms = nn.ModuleList(
            nn.BatchNorm1d(outputs) if rectified else nn.Identity()
            for _, outputs, _, _, rectified in self.plan
        )
        self.drop = nn.Dropout(dropout)
        self.out = nn.Conv1d(shape.width, CLASSES, 1)

    def forward(self, features: Tensor) -> Tensor:
        """Log scores of the classes."""
        hidden = [features]
        for number, (layer, norm) in enumerate(zip(self.layers, self.norms, strict=True)):
            new = norm(layer(hidden[-1]))
            if self.plan[number][4]:
                new = self.drop(torch.relu(new))
            hidden.append(self._summed(number, hidden, new))
        return torch.log_softmax(self.out(hidden[-1]).float(), 1).transpose(1, 2)

    def _summed(self, number: int, hidden: list[Tensor], new: Tensor) -> Tensor:
        """Adds the input of `skips` layers back; thins out after the entry layers."""
        if skips := self.plan[number][3]:
            reach = [offsets for _, _, offsets, _, _ in self.plan[number + 1 - skips : number + 1]]
            cut = -sum(min(offsets) for offsets in reach) // STRIDE
            new = new + hidden[-skips][:, :, cut : cut + new.shape[2]]
        return new[:, :, ::STRIDE] if number == len(_ENTRY) - 1 else new

    def folded(self, mean: Tensor, scale: Tensor) -> Arrays:
        """Affine layers w0, b0, ... with batch norm and the input's mean and scale (each (40,))
        folded in.

        Weights have shape (outputs, offsets * inputs), offsets outermost; o0, ... are the offsets;
        `skips` and `rectified` have one entry a layer. The last layer sees one frame.
        """
        arrays: Arrays = {}
        for number, (layer, norm) in enumerate(zip(self.layers, self.norms, strict=True)):
            weight, bias = _affine(layer)
            if number == 0:
                bias = bias - (weight * (mean / scale).double().cpu()[None, :, None]).sum((1, 2))
                weight = weight / scale.double().cpu()[None, :, None]
            if isinstance(norm, nn.BatchNorm1d):
                gain, shift = _of_norm(norm)
                weight, bias = weight * gain[:, None, None], bias * gain + shift
            arrays[f"w{number}"], arrays[f"b{number}"] = _flat(weight), bias.float()
            arrays[f"o{number}"] = torch.tensor(self.plan[number][2])
        last = len(self.plan)
        weight, bias = _affine(self.out)
        arrays[f"w{last}"], arrays[f"b{last}"] = _flat(weight), bias.float()
        arrays[f"o{last}"] = torch.tensor([0])
        arrays["skips"] = torch.tensor([*(skips for _, _, _, skips, _ in self.plan), 0])
        arrays["rectified"] = torch.tensor([*(bends for _, _, _, _, bends in self.plan), False])
        return arrays

    def unfold(self, arrays: Arrays, mean: Tensor, scale: Tensor, inputs: Tensor) -> None:
        """Takes over layers that `folded` gave, so that training can go on.

        Batch norm starts from the statistics of `inputs` (batch, 40, frames) and at first changes
        nothing. Raises RuntimeError if the shapes differ.
        """
        hidden = [inputs]
        with torch.no_grad():
            for number, layer in enumerate([*self.layers, self.out]):
                assert isinstance(layer, nn.Conv1d)
                assert layer.bias is not None
                taps = layer.kernel_size[0]
                weight = arrays[f"w{number}"].reshape(layer.out_channels, taps, -1).transpose(1, 2)
                bias = arrays[f"b{number}"]
                if number == 0:
                    bias = bias + (weight * mean.to(bias.device)[None, :, None]).sum((1, 2))
                    weight = weight * scale.to(bias.device)[None, :, None]
                layer.weight.copy_(weight)
                layer.bias.copy_(bias)
                if number == len(self.layers):
                    return
                new = layer(hidden[-1])
                if isinstance(norm := self.norms[number], nn.BatchNorm1d):
                    _settle(norm, new)
                    new = torch.relu(new)
                hidden.append(self._summed(number, hidden, new))


def _dilation(number: int, offsets: Offsets) -> int:
    step = offsets[1] - offsets[0]
    return step if number < len(_ENTRY) else step // STRIDE


def _settle(norm: nn.BatchNorm1d, out: Tensor) -> None:
    """Makes batch norm pass through what has the statistics of `out`."""
    assert norm.running_mean is not None
    assert norm.running_var is not None
    variance, mean = torch.var_mean(out, (0, 2))
    norm.weight.copy_(torch.sqrt(variance + norm.eps))
    norm.bias.copy_(mean)
    norm.running_mean.copy_(mean)
    norm.running_var.copy_(variance)


def _of_norm(norm: nn.BatchNorm1d) -> tuple[Tensor, Tensor]:
    """Gain and shift of a batch norm that no longer learns."""
    assert norm.running_mean is not None
    assert norm.running_var is not None
    gain = norm.weight.detach().double().cpu() / torch.sqrt(
        norm.running_var.double().cpu() + norm.eps
    )
    return gain, norm.bias.detach().double().cpu() - norm.running_mean.double().cpu() * gain


def _affine(layer: nn.Module) -> tuple[Tensor, Tensor]:
    assert isinstance(layer, nn.Conv1d)
    assert layer.bias is not None
    return layer.weight.detach().double().cpu(), layer.bias.detach().double().cpu()


def _flat(weight: Tensor) -> Tensor:
    return weight.transpose(1, 2).reshape(weight.shape[0], -1).float()


def restored(arrays: Arrays, device: torch.device) -> Network:
    """A network that computes what `folded` gave, on features that are not normalised; it can't
    learn."""
    count = sum(name.startswith("w") for name in arrays)
    offsets = [tuple(int(o) for o in arrays[f"o{number}"]) for number in range(count)]
    skips = [int(skip) for skip in arrays["skips"]]
    width, rank = len(arrays["b1"]), 0
    deep: list[Offsets] = []
    for number in range(len(_ENTRY), count - 1):
        if skips[number] == 2:
            rank = len(arrays[f"b{number - 1}"])
            step = offsets[number][1] - offsets[number][0]
            low = offsets[number - 1][0] + offsets[number][0]
            deep.append((low, low + step, low + 2 * step))
        elif skips[number] == 1:
            deep.append(offsets[number])
    network = Network(Shape(width, rank, tuple(deep)), dropout=0.0)
    for number, layer in enumerate([*network.layers, network.out]):
        assert isinstance(layer, nn.Conv1d)
        taps = layer.kernel_size[0]
        weight = arrays[f"w{number}"].reshape(layer.out_channels, taps, -1).transpose(1, 2)
        layer.weight.data.copy_(weight)
        assert layer.bias is not None
        layer.bias.data.copy_(arrays[f"b{number}"])
    network.norms = nn.ModuleList(nn.Identity() for _ in network.norms)
    return network.eval().requires_grad_(False).to(device)
