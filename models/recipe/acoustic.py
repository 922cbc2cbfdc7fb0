"""The acoustic model as data, and as the file am/final.mdl that the recogniser loads.

A model is a row of layers. A layer joins frames at its offsets, applies an affine map and a
rectifier, and may add its input to its output (a residual layer); the last layer is affine only,
followed by log-softmax over the classes.
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
    bias (outputs,)."""

    offsets: tuple[int, ...]
    weight: Floats
    bias: Floats
    residual: bool = False

    @property
    def splice(self) -> str:
        """Frames joined, as Kaldi writes it; X stands for the input node."""
        parts = [f"Offset(X, {offset})" if offset else "X" for offset in self.offsets]
        return parts[0] if len(parts) == 1 else f"Append({', '.join(parts)})"


Model = tuple[Layer, ...]


def context(model: Model) -> tuple[int, int]:
    """Frames needed to the left and to the right of a frame."""
    return -sum(min(layer.offsets) for layer in model), sum(max(layer.offsets) for layer in model)


def to_bytes(model: Model, compact: bool = True) -> bytes:
    """The whole of am/final.mdl; `compact` stores weights in 16 bits."""
    out = Writer()
    _write_transitions(out)
    out.token("<Nnet3>")
    out.raw(("\n" + "\n".join(_network(model)) + "\n\n").encode("ascii"))
    out.token("<NumComponents>")
    out.int32(sum(3 if layer.residual else 2 for layer in model))
    for number, layer in enumerate(model):
        _write_layer(out, number, layer, last=number == len(model) - 1, compact=compact)
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


def _network(model: Model) -> list[str]:
    lines, source = [f"input-node name=input dim={FEATURES}"], "input"
    for number, layer in enumerate(model):
        last = number == len(model) - 1
        affine, bend = f"l{number}.affine", f"l{number}.{'log-softmax' if last else 'relu'}"
        splice = layer.splice.replace("X", source)
        lines.append(f"component-node name={affine} component={affine} input={splice}")
        lines.append(f"component-node name={bend} component={bend} input={affine}")
        if layer.residual:
            total = f"l{number}.sum"
            lines.append(
                f"component-node name={total} component={total} input=Sum({source}, {bend})"
            )
            bend = total
        source = bend
    return [*lines, f"output-node name=output input={source} objective=linear"]


def _write_layer(out: Writer, number: int, layer: Layer, last: bool, compact: bool) -> None:
    width = len(layer.bias)
    out.token("<ComponentName>", f"l{number}.affine", "<FixedAffineComponent>", "<LinearParams>")
    out.matrix(layer.weight, compact)
    out.token("<BiasParams>")
    out.vector(layer.bias)
    out.token("</FixedAffineComponent>")
    kind = "LogSoftmax" if last else "RectifiedLinear"
    out.token(
        "<ComponentName>",
        f"l{number}.{'log-softmax' if last else 'relu'}",
        f"<{kind}Component>",
        "<Dim>",
    )
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
    if layer.residual:
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
    source.token("</FixedAffineComponent>", "<ComponentName>", "", "", "<Dim>")
    source.int32()
    for token in ("<ValueAvg>", "<DerivAvg>", "<Count>", "<OderivRms>", "<OderivCount>"):
        source.token(token)
        if "Count" in token:
            source.float32()
        else:
            source.vector()
    source.token("")
    residual = any(line.startswith(f"component-node name=l{number}.sum ") for line in lines)
    if residual:
        source.token("<ComponentName>", f"l{number}.sum", "<NoOpComponent>", "<Dim>")
        source.int32()
        source.token("<BackpropScale>")
        source.float32()
        source.token("</NoOpComponent>")
    node = next(line for line in lines if line.startswith(f"component-node name=l{number}.affine "))
    return Layer(_offsets(node.split(" input=", 1)[1]), weight, bias, residual)


def _offsets(splice: str) -> tuple[int, ...]:
    parts = re.sub(r"^Append\((.*)\)$", r"\1", splice)
    found = re.findall(r"Offset\([^,]+, (-?\d+)\)|([^,()\s]+)", parts)
    return tuple(int(offset or 0) for offset, _ in found)
