"""The acoustic model as data, and as the file am/final.mdl that the recogniser loads.

A model is a row of layers. A layer joins frames at its offsets, applies an affine map and mostly
a rectifier, and may add what went into it, or into the layer before it, to its output; the last
layer is affine only, followed by log-softmax over the classes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from models.recipe import topology
from models.recipe.kaldi_binary import Floats, Reader, Writer

FEATURES = 40
_HALF = -0.6931472  # log of one half


@dataclass(frozen=True)
class Layer:
    """An affine map over frames at `offsets`; weight has shape (outputs, len(offsets) * inputs),
    bias (outputs,). `skips` is how many layers the residual sum reaches over, 0 for no sum."""

    offsets: tuple[int, ...]
    weight: Floats
    bias: Floats
    skips: int = 0
    rectified: bool = True

    @property
    def splice(self) -> str:
        """Frames joined, as Kaldi writes it; X stands for the input node."""
        parts = [f"Offset(X, {offset})" if offset else "X" for offset in self.offsets]
        return parts[0] if len(parts) == 1 else f"Append({', '.join(parts)})"


Model = tuple[Layer, ...]


def context(model: Model) -> tuple[int, int]:
    """Frames needed to the left and to the right of a frame."""
    return -sum(min(layer.offsets) for layer in model), sum(max(layer.offsets) for layer in model)


def to_bytes(model: Model, bits: int = 16) -> bytes:
    """The whole of am/final.mdl; weights in 8, 16 or 32 bits."""
    out = Writer()
    _write_transitions(out)
    out.token("<Nnet3>")
    out.raw(("\n" + "\n".join(_network(model)) + "\n\n").encode("ascii"))
    out.token("<NumComponents>")
    out.int32(sum(1 + _bends(model, n) + bool(layer.skips) for n, layer in enumerate(model)))
    for number, layer in enumerate(model):
        _write_affine(out, number, layer, bits)
        if _bends(model, number):
            _write_bend(out, number, len(layer.bias), last=number == len(model) - 1)
        if layer.skips:
            _write_sum(out, number, len(layer.bias))
    out.token("</Nnet3>", "<LeftContext>")
    out.int32(context(model)[0])
    out.token("<RightContext>")
    out.int32(context(model)[1])
    out.token("<Priors>")
    out.vector(np.zeros(0, np.float32))
    return out.data


def _write_transitions(out: Writer) -> None:
    phones = list(range(1, topology.COUNT + 1))
    out.token("<TransitionModel>", "<Topology>")
    out.int_vector(phones)
    out.int_vector(
        [-1, *([0] * topology.COUNT)]
    )  # phone number to topology entry; there is no phone 0
    out.int32(-1)  # marks the form whose self-loops have a class of their own
    out.int32(1, 2)  # one entry with two states: the emitting one and the end
    out.int32(0, 1, 2)  # classes of the first and of further frames; two transitions
    out.int32(0)
    out.float32(0.5)
    out.int32(1)
    out.float32(0.5)
    out.int32(-1, -1, 0)
    out.token("</Topology>", "<Tuples>")
    out.int32(topology.COUNT)
    for phone in phones:
        base = topology.base_index(phone)
        out.int32(phone, 0, topology.first_class(base), topology.further_class(base))
    out.token("</Tuples>", "<LogProbs>")
    out.vector(np.array([0.0, *([_HALF] * 2 * topology.COUNT)], np.float32))
    out.token("</LogProbs>", "</TransitionModel>")


def _bends(model: Model, number: int) -> bool:
    """Whether anything follows a layer's affine map."""
    return model[number].rectified or number == len(model) - 1


def _network(model: Model) -> list[str]:
    lines, sources = [f"input-node name=input dim={FEATURES}"], ["input"]
    for number, layer in enumerate(model):
        last = number == len(model) - 1
        source = f"l{number}.affine"
        splice = layer.splice.replace("X", sources[-1])
        lines.append(f"component-node name={source} component={source} input={splice}")
        if _bends(model, number):
            bend = f"l{number}.{'log-softmax' if last else 'relu'}"
            lines.append(f"component-node name={bend} component={bend} input={source}")
            source = bend
        if layer.skips:
            total, both = f"l{number}.sum", f"Sum({sources[-layer.skips]}, {source})"
            lines.append(f"component-node name={total} component={total} input={both}")
            source = total
        sources.append(source)
    return [*lines, f"output-node name=output input={sources[-1]} objective=linear"]


def _write_affine(out: Writer, number: int, layer: Layer, bits: int) -> None:
    out.token("<ComponentName>", f"l{number}.affine", "<FixedAffineComponent>", "<LinearParams>")
    out.matrix(layer.weight, bits)
    out.token("<BiasParams>")
    out.vector(layer.bias)
    out.token("</FixedAffineComponent>")


def _write_bend(out: Writer, number: int, width: int, last: bool) -> None:
    kind, name = ("LogSoftmax", "log-softmax") if last else ("RectifiedLinear", "relu")
    out.token("<ComponentName>", f"l{number}.{name}", f"<{kind}Component>", "<Dim>")
    out.int32(width)
    none = np.zeros(0, np.float32)  # statistics of training; the recogniser needs none
    out.token("<ValueAvg>")
    out.vector(none)
    out.token("<DerivAvg>")
    out.vector(none)
    out.token("<Count>")
    out.float32(0.0)
    out.token("<OderivRms>")
    out.vector(none)
    out.token("<OderivCount>")
    out.float32(0.0)
    out.token(f"</{kind}Component>")


def _write_sum(out: Writer, number: int, width: int) -> None:
    out.token("<ComponentName>", f"l{number}.sum", "<NoOpComponent>", "<Dim>")
    out.int32(width)
    out.token("<BackpropScale>")
    out.float32(1.0)
    out.token("</NoOpComponent>")


def from_bytes(data: bytes) -> Model:
    """Layers of a file that `to_bytes` wrote. Raises ValueError for any other file."""
    source = Reader(data)
    _skip_transitions(source)
    source.token("<Nnet3>")
    source.line()
    lines: list[str] = []
    while line := source.line():
        lines.append(line)
    source.token("<NumComponents>")
    source.int32()
    model: list[Layer] = []
    while f"l{len(model)}.affine" in "\n".join(lines):
        model.append(_read_layer(source, len(model), lines))
    source.token("</Nnet3>")
    return tuple(model)


def load(path: Path) -> Model:
    """Layers of an am/final.mdl. Raises OSError or ValueError."""
    return from_bytes(path.read_bytes())


def _skip_transitions(source: Reader) -> None:
    source.token("<TransitionModel>", "<Topology>")
    source.int_vector()
    source.int_vector()
    for _ in range(6):
        source.int32()
    for _ in range(2):
        source.int32()
        source.float32()
    for _ in range(3):
        source.int32()
    source.token("</Topology>", "<Tuples>")
    for _ in range(4 * source.int32()):
        source.int32()
    source.token("</Tuples>", "<LogProbs>")
    source.vector()
    source.token("</LogProbs>", "</TransitionModel>")


def _read_layer(source: Reader, number: int, lines: list[str]) -> Layer:
    source.token("<ComponentName>", f"l{number}.affine", "<FixedAffineComponent>", "<LinearParams>")
    weight = source.matrix()
    source.token("<BiasParams>")
    bias = source.vector()
    source.token("</FixedAffineComponent>")
    inputs = {
        line.split()[1].removeprefix("name="): line.split(" input=", 1)[1]
        for line in lines
        if line.startswith(f"component-node name=l{number}.")
    }
    rectified = f"l{number}.relu" in inputs
    if rectified or f"l{number}.log-softmax" in inputs:
        _skip_bend(source)
    skips = 0
    if total := inputs.get(f"l{number}.sum"):
        base = total.removeprefix("Sum(").split(".")[0]
        skips = number - int(base.removeprefix("l"))
        source.token("<ComponentName>", f"l{number}.sum", "<NoOpComponent>", "<Dim>")
        source.int32()
        source.token("<BackpropScale>")
        source.float32()
        source.token("</NoOpComponent>")
    return Layer(_offsets(inputs[f"l{number}.affine"]), weight, bias, skips, rectified)


def _skip_bend(source: Reader) -> None:
    source.token("<ComponentName>", "", "", "<Dim>")
    source.int32()
    for token in ("<ValueAvg>", "<DerivAvg>", "<Count>", "<OderivRms>", "<OderivCount>"):
        source.token(token)
        if "Count" in token:
            source.float32()
        else:
            source.vector()
    source.token("")


def _offsets(splice: str) -> tuple[int, ...]:
    parts = re.sub(r"^Append\((.*)\)$", r"\1", splice)
    found = re.findall(r"Offset\([^,]+, (-?\d+)\)|([^,()\s]+)", parts)
    return tuple(int(offset or 0) for offset, _ in found)
