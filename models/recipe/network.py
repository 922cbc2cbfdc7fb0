"""The acoustic network: dilated convolutions with residual sums, foldable into plain affine
layers."""

from __future__ import annotations

import torch
from torch import Tensor, nn

from models.recipe.acoustic import FEATURES
from models.recipe.topology import CLASSES

STRIDE = 3
"""Input frames for one output frame."""


class Network(nn.Module):
    """`residual` layers of `width` after two entry layers; sees 3 + 3 * residual frames on either
    side.

    Input (batch, 40, frames + 2 * context), output log scores (batch, ceil(frames / 3), classes).
    """

    def __init__(self, width: int = 448, residual: int = 6, dropout: float = 0.1) -> None:
        super().__init__()
        self.context = 3 + 3 * residual
        self.entry = nn.ModuleList([nn.Conv1d(FEATURES, width, 5), nn.Conv1d(width, width, 3)])
        self.deep = nn.ModuleList([nn.Conv1d(width, width, 3) for _ in range(residual)])
        self.norms = nn.ModuleList([nn.BatchNorm1d(width) for _ in range(2 + residual)])
        self.drop = nn.Dropout(dropout)
        self.out = nn.Conv1d(width, CLASSES, 1)

    def forward(self, features: Tensor) -> Tensor:
        """Log scores of the classes."""
        hidden = features
        for number, layer in enumerate(self.entry):
            hidden = self.drop(torch.relu(self.norms[number](layer(hidden))))
        hidden = hidden[:, :, ::STRIDE]
        for number, layer in enumerate(self.deep):
            added = self.drop(torch.relu(self.norms[2 + number](layer(hidden))))
            hidden = hidden[:, :, 1:-1] + added
        return torch.log_softmax(self.out(hidden).float(), 1).transpose(1, 2)

    def folded(self, mean: Tensor, scale: Tensor) -> dict[str, Tensor]:
        """Affine layers w0, b0, ... with batch norm and the input's mean and scale (each (40,))
        folded in.

        Weights have shape (outputs, offsets * inputs), offsets outermost. `residual` lists the
        residual layers.
        """
        arrays: dict[str, Tensor] = {}
        layers = [*self.entry, *self.deep]
        for number, layer in enumerate(layers):
            norm = self.norms[number]
            assert isinstance(layer, nn.Conv1d)
            assert isinstance(norm, nn.BatchNorm1d)
            weight, bias = _affine(layer)
            if number == 0:
                bias = bias - (weight * (mean / scale).double().cpu()[None, :, None]).sum((1, 2))
                weight = weight / scale.double().cpu()[None, :, None]
            assert norm.running_mean is not None
            assert norm.running_var is not None
            gain = norm.weight.detach().double().cpu() / torch.sqrt(
                norm.running_var.double().cpu() + norm.eps
            )
            bias = (
                bias - norm.running_mean.double().cpu()
            ) * gain + norm.bias.detach().double().cpu()
            arrays[f"w{number}"], arrays[f"b{number}"] = (
                _flat(weight * gain[:, None, None]),
                bias.float(),
            )
        weight, bias = _affine(self.out)
        arrays[f"w{len(layers)}"], arrays[f"b{len(layers)}"] = _flat(weight), bias.float()
        arrays["residual"] = torch.arange(len(self.entry), len(layers))
        return arrays

    def unfold(
        self, arrays: dict[str, Tensor], mean: Tensor, scale: Tensor, inputs: Tensor
    ) -> None:
        """Takes over layers that `folded` gave, so that training can go on.

        Batch norm starts from the statistics of `inputs` (batch, 40, frames) and at first changes
        nothing.
        """
        layers = [*self.entry, *self.deep, self.out]
        hidden = inputs
        with torch.no_grad():
            for number, layer in enumerate(layers):
                assert isinstance(layer, nn.Conv1d)
                assert layer.bias is not None
                weight = (
                    arrays[f"w{number}"]
                    .reshape(layer.out_channels, layer.kernel_size[0], -1)
                    .transpose(1, 2)
                )
                bias = arrays[f"b{number}"]
                if number == 0:
                    bias = bias + (weight * mean.cpu()[None, :, None]).sum((1, 2))
                    weight = weight * scale.cpu()[None, :, None]
                layer.weight.copy_(weight)
                layer.bias.copy_(bias)
                if number == len(layers) - 1:
                    return
                hidden = self._settled(number, layer, hidden)

    def _settled(self, number: int, layer: nn.Conv1d, hidden: Tensor) -> Tensor:
        norm, out = self.norms[number], layer(hidden)
        assert isinstance(norm, nn.BatchNorm1d)
        assert norm.running_mean is not None
        assert norm.running_var is not None
        variance, mean = torch.var_mean(out, (0, 2))
        norm.weight.copy_(torch.sqrt(variance + norm.eps))
        norm.bias.copy_(mean)
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(variance)
        out = torch.relu(out)
        if number >= len(self.entry):
            return hidden[:, :, 1:-1] + out
        return out[:, :, ::STRIDE] if number == len(self.entry) - 1 else out


def _affine(layer: nn.Conv1d) -> tuple[Tensor, Tensor]:
    assert layer.bias is not None
    return layer.weight.detach().double().cpu(), layer.bias.detach().double().cpu()


def _flat(weight: Tensor) -> Tensor:
    return weight.transpose(1, 2).reshape(weight.shape[0], -1).float()
