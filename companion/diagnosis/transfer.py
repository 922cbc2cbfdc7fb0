"""One setup under every hypothesis, as low-rank updates of the sound network.

With Z the inverse of the sound nodal matrix and a fault as conductances D added between node
pairs U, the inverse becomes Z - Z U (I + D U'ZU)^-1 D U'Z (Sherman, Morrison and Woodbury; any
numerical linear algebra text). Only voltages between a few pairs of nodes, the ports, are kept.
Arrays are (columns, hypotheses, ...).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit.network import admittance_matrix, stamp
from companion.diagnosis.hypotheses import Change, Hypothesis
from companion.diagnosis.layout import Layout
from companion.diagnosis.nuisance import Board
from companion.diagnosis.trial import Setup
from companion.diagnosis.values import FUSE_OHM, Valued

Numbers = NDArray[Any]
Port = tuple[int, int]

INSULATION_SIEMENS = 1e-10  # keeps lifted wires solvable; a dozen nodes of it still read OL
# From this impedance to common a node hangs in the air. There, taking an element out, or joining
# twice, cancels more digits than an update has: such hypotheses are solved by themselves.
ADRIFT_OHM = 3e4
MOVES_NOTHING_OHM = 1e-6  # volts across an element per ampere between probes; rounding is below


@dataclass(frozen=True)
class Group:
    """Hypotheses with as many changes each: rows, ports (h, m), conductances (columns, h, m)."""

    rows: tuple[int, ...]
    at: Numbers
    siemens: Numbers
    made_by: tuple[tuple[Change, ...], ...]


class Transfer:
    """Voltages between ports per ampere between ports.

    Args:
        valued: the installation with its columns.
        setup: how it is put.
        rows: the hypotheses.
        state: loads as "dc", "sealed" or "pulling".
        probes: node pairs that will be asked for.
        lamp_ohm: of the lamp, where the setup has one in the fuse's place.
        board: how the board takes its calls.
    """

    def __init__(
        self,
        valued: Valued,
        setup: Setup,
        rows: Sequence[Hypothesis],
        state: str,
        probes: Sequence[Port],
        lamp_ohm: float = inf,
        board: Board = "beside",
    ) -> None:
        layout = valued.layout
        self.base = valued.base(setup, state, board)
        if setup.protection == "lamp":
            self.base["fuse"] = self.base["fuse"] * FUSE_OHM / lamp_ohm
        ends = [layout.ends(name) for name in self.base]
        siemens = np.stack(list(self.base.values()), axis=-1)
        self.sound_matrix = admittance_matrix(len(layout.nodes), ends, siemens, INSULATION_SIEMENS)
        self._ports: dict[Port, int] = {}
        for probe in probes:
            self._ports.setdefault(probe, len(self._ports))
        self.count, self._probes = len(rows), len(self._ports)
        self.groups = self._grouped(valued, layout, setup, rows, state)
        self._inverse = np.zeros_like(self.sound_matrix)
        self._inverse[:, 1:, 1:] = np.linalg.inv(self.sound_matrix[:, 1:, 1:])
        self._sound = self._between(self._inverse)

    def _grouped(
        self, valued: Valued, layout: Layout, setup: Setup, rows: Sequence[Hypothesis], state: str
    ) -> list[Group]:
        made: dict[Change, list[tuple[Port, Numbers]]] = {}
        by_size: dict[int, list[tuple[int, list[tuple[Port, Numbers, Change]]]]] = {}
        for row, hypothesis in enumerate(rows):
            found = []
            for change in hypothesis.changes:
                if change not in made:
                    made[change] = [(layout.ends(at), more) for at, more in
                                    valued.changed(change, self.base, setup, state)]  # fmt: skip
                found += [(port, more, change) for port, more in made[change]]
            by_size.setdefault(len(found), []).append((row, found))
        groups = []
        for size, of_size in by_size.items():
            at = [[self._ports.setdefault(p, len(self._ports)) for p, _, _ in found]
                  for _, found in of_size]  # fmt: skip
            added = [[more for _, more, _ in found] for _, found in of_size]
            shape = (len(of_size), size)
            siemens = np.zeros((len(self.sound_matrix), *shape), dtype=self.sound_matrix.dtype)
            if size:
                siemens[:] = np.moveaxis(np.array(added), -1, 0)
            numbers = tuple(row for row, _ in of_size)
            made_by = tuple(tuple(c for _, _, c in found) for _, found in of_size)
            groups.append(Group(numbers, np.array(at, dtype=int).reshape(shape), siemens, made_by))
        return groups

    def _between(self, inverse: Numbers) -> Numbers:
        a, b = np.array(list(self._ports), dtype=int).T
        half = inverse[:, :, a] - inverse[:, :, b]
        return np.asarray(half[:, a, :] - half[:, b, :])

    @cached_property
    def _updates(self) -> list[Numbers]:
        """(I + D U'ZU)^-1 D, (columns, h, m, m), by group."""
        found = []
        for index, group in enumerate(self.groups):
            inner = self._sound[:, group.at[:, :, None], group.at[:, None, :]]
            d = group.siemens.copy()
            d[:, sorted(self._adrift[index])] = 0.0
            if group.at.shape[1] == 1:
                found.append((d / (1.0 + d * inner[..., 0]))[..., None])
                continue
            eye = np.eye(group.at.shape[1], dtype=d.dtype)
            found.append(np.linalg.solve(eye + d[..., None] * inner, d[..., None] * eye))
        return found

    @cached_property
    def _adrift(self) -> list[set[int]]:
        """Places of hypotheses, by group, that an update is too coarse for."""
        ports = np.array(list(self._ports), dtype=int)
        to_common = np.abs(np.diagonal(self._inverse, axis1=-2, axis2=-1)).max(axis=0)
        hangs = (to_common > ADRIFT_OHM)[ports].any(axis=1)
        found = []
        for group in self.groups:
            hanging = hangs[group.at]
            out = (hanging & (group.siemens.real < 0).any(axis=0)).any(axis=1)
            found.append(set(np.flatnonzero(out | (hanging.sum(axis=1) > 1)).tolist()))
        return found

    @cached_property
    def _alone(self) -> dict[tuple[int, int], Numbers]:
        """Those that move a probe, solved by themselves; by group and place."""
        ports, exact = list(self._ports), {}
        for index, group in enumerate(self.groups):
            for place in self._adrift[index]:
                if (
                    np.abs(self._sound[:, group.at[place], : self._probes]).max()
                    < MOVES_NOTHING_OHM
                ):
                    continue
                matrix = self.sound_matrix.copy()
                for port, more in zip(group.at[place], group.siemens[:, place].T, strict=True):
                    stamp(matrix, ports[port][0], ports[port][1], more)
                inverse = np.zeros_like(matrix)
                inverse[:, 1:, 1:] = np.linalg.inv(matrix[:, 1:, 1:])
                exact[index, place] = self._between(inverse)
        return exact

    def _each(self) -> Iterator[tuple[int, Group, Numbers]]:
        for index, (group, update) in enumerate(zip(self.groups, self._updates, strict=True)):
            yield index, group, update

    def own(self, probes: Sequence[Port]) -> Numbers:
        """Ohms seen between the nodes of each port, (columns, hypotheses, probes)."""
        at = [self._ports[p] for p in probes]
        out = np.empty((len(self.sound_matrix), self.count, len(at)), dtype=self.sound_matrix.dtype)
        sound = self._sound[:, at, at]
        for index, group, update in self._each():
            cross = self._sound[:, group.at[:, :, None], at]
            out[:, group.rows] = sound[:, None] - (cross * (update @ cross)).sum(axis=2)
            for (i, place), exact in self._alone.items():
                if i == index:
                    out[:, group.rows[place]] = exact[:, at, at]
        return out

    def across(self, probes: Sequence[Port], driven: Sequence[Port]) -> Numbers:
        """Volts across ports per ampere through driven ones, (columns, h, probes, driven)."""
        at, by = ([self._ports[p] for p in some] for some in (probes, driven))
        shape = (len(self.sound_matrix), self.count, len(at), len(by))
        out = np.empty(shape, dtype=self.sound_matrix.dtype)
        sound = self._sound[:, at][:, :, by]
        for index, group, update in self._each():
            to = self._sound[:, group.at[:, :, None], at]
            of = self._sound[:, group.at[:, :, None], by]
            out[:, group.rows] = sound[:, None] - np.swapaxes(to, -1, -2) @ (update @ of)
            for (i, place), exact in self._alone.items():
                if i == index:
                    out[:, group.rows[place]] = exact[:, at][:, :, by]
        return out

    def at_faults(self, driven: Sequence[Port]) -> Iterator[tuple[Group, Numbers]]:
        """Group by group, volts across its changes per ampere, (columns, h, m, driven)."""
        by = [self._ports[p] for p in driven]
        for index, group, update in self._each():
            inner = self._sound[:, group.at[:, :, None], group.at[:, None, :]]
            of = self._sound[:, group.at[:, :, None], by]
            found = of - inner @ (update @ of)
            for (i, place), exact in self._alone.items():
                if i == index:
                    found[:, place] = exact[:, group.at[place]][:, :, by]
            yield group, found
