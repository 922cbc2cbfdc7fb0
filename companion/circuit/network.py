"""Modified nodal analysis: single networks, and stacks of them in one numpy solve.

Unknowns are node voltages and the currents of ideal voltage sources (Ho, Ruehli and
Brennan 1975). Admittances may be complex; they may have a leading axis of variants.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit.floating import why_singular

Numbers = NDArray[Any]

# Insulation from every node to the reference, far above what a meter can show: it keeps a
# lifted wire solvable, and reads as over limit.
INSULATION_SIEMENS = 1e-9


class SingularNetwork(ValueError):
    """A network without one solution; the message says why in physical words."""


@dataclass
class Network:
    """Branches between named nodes, in ohms; built up by ``join`` and ``source``.

    Args:
        reference: the node that voltages are counted from.
        insulation_siemens: from every node to the reference; 0 for none.
    """

    reference: str
    insulation_siemens: float = 0.0
    nodes: dict[str, int] = field(default_factory=dict)
    branches: list[tuple[str, str, complex]] = field(default_factory=list)
    sources: list[tuple[str, str, complex]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._node(self.reference)

    def _node(self, name: str) -> int:
        return self.nodes.setdefault(name, len(self.nodes))

    def join(self, a: str, b: str, ohm: complex) -> None:
        """A branch.

        Raises:
            ValueError: zero ohms; join the nodes, or use a source of zero volts.
        """
        if ohm == 0:
            raise ValueError(f"{a} to {b}: a branch of zero ohms; use a source of 0 V")
        self._node(a), self._node(b)
        self.branches.append((a, b, ohm))

    def source(self, plus: str, minus: str, volt: complex) -> None:
        """An ideal voltage source."""
        self._node(plus), self._node(minus)
        self.sources.append((plus, minus, volt))

    def solve(self, injected_ampere: Mapping[str, complex] | None = None) -> Solution:
        """Node voltages and source currents.

        Args:
            injected_ampere: current into nodes from outside, returned at the reference.

        Raises:
            SingularNetwork: no one solution, and why.
        """
        y = np.array([1.0 / ohm for _, _, ohm in self.branches], dtype=complex)
        ends = [(self.nodes[a], self.nodes[b]) for a, b, _ in self.branches]
        emf = [(self.nodes[a], self.nodes[b]) for a, b, _ in self.sources]
        volts = np.array([v for _, _, v in self.sources], dtype=complex)
        current = np.zeros((1, len(self.nodes), 1), dtype=complex)
        for node, ampere in (injected_ampere or {}).items():
            current[0, self.nodes[node], 0] += ampere
        insulation = self.insulation_siemens
        if insulation == 0.0:
            tied = [(a, b) for a, b, _ in self.branches] + [(a, b) for a, b, _ in self.sources]
            why = why_singular(list(self.nodes), tied, self.sources, self.reference)
            if why is not None:
                raise SingularNetwork(why)
        size = len(self.nodes)
        matrix = admittance_matrix(size, ends, y[None, :], insulation)
        try:
            found = solve_stack(matrix, current, emf, volts[None, :])
        except np.linalg.LinAlgError as error:
            raise SingularNetwork("Branches cancel: no one set of voltages fits.") from error
        by_name = {name: complex(found[0, index, 0]) for name, index in self.nodes.items()}
        return Solution(by_name, tuple(complex(i) for i in found[0, size:, 0]))

    def ohms(self, a: str, b: str) -> complex:
        """What is seen between two nodes with every source at zero volts.

        Raises:
            SingularNetwork: nothing joins them.
        """
        dead = Network(b, self.insulation_siemens)
        dead._node(a)
        for p, m, ohm in self.branches:
            dead.join(p, m, ohm)
        for p, m, _ in self.sources:
            dead.source(p, m, 0.0)
        return dead.solve({a: 1.0})[a]


@dataclass(frozen=True)
class Solution:
    """Voltages to the reference by node; currents through sources, plus to minus within."""

    volt: Mapping[str, complex]
    source_ampere: tuple[complex, ...]

    def __getitem__(self, node: str) -> complex:
        return self.volt[node]


def admittance_matrix(
    size: int,
    ends: Sequence[tuple[int, int]],
    siemens: Numbers,
    insulation_siemens: float,
) -> Numbers:
    """Nodal matrices (..., size, size); node 0 is the reference.

    Args:
        size: number of nodes.
        ends: the two nodes of every branch.
        siemens: (..., branches), real or complex.
        insulation_siemens: from every node to the reference.
    """
    matrix = np.zeros((*siemens.shape[:-1], size, size), dtype=siemens.dtype)
    for branch, (a, b) in enumerate(ends):
        stamp(matrix, a, b, siemens[..., branch])
    matrix[..., range(size), range(size)] += insulation_siemens
    matrix[..., 0, 0] += insulation_siemens * size
    return matrix


def stamp(matrix: Numbers, a: int, b: int, siemens: Numbers) -> None:
    """Add a branch between two nodes of a stack of nodal matrices, in place."""
    matrix[..., a, a] += siemens
    matrix[..., b, b] += siemens
    matrix[..., a, b] -= siemens
    matrix[..., b, a] -= siemens


def solve_stack(
    matrix: Numbers,
    injected_ampere: Numbers,
    emf: Sequence[tuple[int, int]] = (),
    volts: Numbers | None = None,
) -> Numbers:
    """One stacked solve.

    Args:
        matrix: (..., n, n) from ``admittance_matrix``.
        injected_ampere: (..., n, columns), broadcast against the stack.
        emf: plus and minus nodes of ideal sources.
        volts: (..., sources), their voltages; the same in every column.

    Returns:
        (..., n + sources, columns): voltages to node 0, then source currents.
    """
    stack, n, extra = matrix.shape[:-2], matrix.shape[-1], len(emf)
    columns = injected_ampere.shape[-1]
    dtype = np.result_type(matrix, injected_ampere, *(() if volts is None else (volts,)))
    whole = np.zeros((*stack, n + extra, n + extra), dtype=dtype)
    whole[..., :n, :n] = matrix
    right = np.zeros((*stack, n + extra, columns), dtype=dtype)
    right[..., :n, :] = injected_ampere
    for k, (plus, minus) in enumerate(emf):
        whole[..., plus, n + k] += 1.0
        whole[..., minus, n + k] -= 1.0
        whole[..., n + k, plus] += 1.0
        whole[..., n + k, minus] -= 1.0
    if extra and volts is not None:
        right[..., n:, :] = volts[..., :, None]
    keep = np.arange(1, n + extra)  # the reference is at zero volts
    out = np.zeros_like(right)
    out[..., 1:, :] = np.linalg.solve(whole[..., keep[:, None], keep], right[..., 1:, :])
    return out
