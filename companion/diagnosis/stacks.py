"""Nodal matrices of one setup under every hypothesis and column, in one stack."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit.network import admittance_matrix, stamp
from companion.diagnosis.hypotheses import Hypothesis
from companion.diagnosis.layout import Layout
from companion.diagnosis.trial import Setup
from companion.diagnosis.values import FUSE_OHM, Valued

Numbers = NDArray[Any]

INSULATION_SIEMENS = 1e-10  # keeps lifted wires solvable; a dozen nodes of it still read OL


def stack(
    valued: Valued,
    setup: Setup,
    rows: Sequence[Hypothesis],
    state: str,
    shift: float = 0.0,
    lamp_ohm: float = inf,
) -> Numbers:
    """Matrices (hypotheses, columns, nodes, nodes) in siemens; node 0 is common.

    Args:
        valued: the installation with its columns.
        setup: how it is put.
        rows: the hypotheses.
        state: loads as "dc", "sealed" or "pulling".
        shift: of every load, in standard spreads.
        lamp_ohm: of the lamp, where the setup has one in the fuse's place.
    """
    layout = valued.layout
    base = valued.base(setup, state, shift)
    if setup.protection == "lamp":
        base["fuse"] = base["fuse"] * FUSE_OHM / lamp_ohm
    ends = [_ends(layout, name) for name in base]
    siemens = np.stack(list(base.values()), axis=-1)
    healthy = admittance_matrix(len(layout.nodes), ends, siemens, INSULATION_SIEMENS)
    matrix = np.repeat(healthy[None], len(rows), axis=0)
    for row, hypothesis in enumerate(rows):
        for change in hypothesis.changes:
            for at, more in valued.changed(change, base, setup, state):
                stamp(matrix[row], *_ends(layout, at), more)
    return np.asarray(matrix)


def _ends(layout: Layout, at: str | tuple[str, str]) -> tuple[int, int]:
    a, b = at if isinstance(at, tuple) else layout.elements[at]
    return layout.nodes[a], layout.nodes[b]
