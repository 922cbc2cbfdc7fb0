"""Putting ohms on a layout's elements: base values by column, then each fault's changes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log, pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit.coils import with_shorted_turns
from companion.circuit.copper import METRES_PER_FOOT, ohms_per_metre
from companion.circuit.shapes import Sources
from companion.datafiles import Span
from companion.diagnosis.hypotheses import Change
from companion.diagnosis.layout import Layout
from companion.diagnosis.nuisance import Board, Columns
from companion.diagnosis.trial import Setup
from companion.equipment import Circuit
from companion.loads import Load, Loads

Numbers = NDArray[Any]

# Closed contacts, feeds and bonds, in ohms (judgement); a blade fuse by its cold resistance.
CONTACT_OHM, JUMPER_OHM, FUSE_OHM, BOND_OHM = 0.05, 0.05, 0.03, 0.02
ELECTRONICS_DC_OHM = 100e3  # a thermostat's rectifier input, from memory: kilohms to OL
ELECTRONICS_VA = 2.0  # from memory: thermostat 1 to 3 VA
ACCESSORY_DC_SHARE = 0.4  # judgement: an accessory's DC ohms to its impedance
BESIDE_FACTOR = 3.0  # judgement: either way of a board input's usual ohms
RATED_VOLT = 24.0
MAINS_HERTZ = 60.0


@dataclass(frozen=True)
class Valued:
    """A layout with its columns, ready to be put into setups.

    Args:
        layout: nodes and elements.
        columns: the draws.
        loads: families of loads.
        sources: transformer and coupling.
    """

    layout: Layout
    columns: Columns
    loads: Loads
    sources: Sources

    def load_ohm(self, load: Load, name: str, state: str) -> Numbers:
        """A healthy load by column, ``name`` its terminal or its own: DC, "sealed" or "pulling"."""
        z = (self.columns.load_z if state == "dc" else self.columns.live_z)[name]
        dc = _within(load.ohms, z)
        if state == "dc":
            return dc
        # A coil of more ohms is one of more turns, so its VA is taken lower in step.
        least, most = load.kind.sealed_va if state == "sealed" else load.kind.inrush_va
        impedance = np.maximum(RATED_VOLT**2 / _within((least, most), -z), dc)
        return np.asarray(dc + 1j * np.sqrt(impedance**2 - dc**2))

    def base(self, setup: Setup, state: str, board: Board) -> dict[str, Numbers]:
        """Siemens by element, each (columns,); elements out of circuit are not listed."""
        columns, layout = self.columns, self.layout
        ones = np.ones(columns.count)
        live = setup.power == "live"
        ohm: dict[str, Numbers] = {"bond": np.where(columns.bonded, BOND_OHM, np.inf)}
        for name, cable in layout.equipment.cables.items():
            per_ft = ohms_per_metre(cable.awg, cable.temperature_c) * METRES_PER_FOOT
            whole = per_ft * columns.length_ft[name]
            for element in layout.elements:
                if element.startswith(f"{name}."):
                    near = element.endswith(".near")
                    ohm[element] = whole * (columns.along if near else 1.0 - columns.along)
        for circuit in layout.equipment.circuits:
            t = circuit.terminal
            for joint in circuit.joints:
                ohm[f"{t}.{joint.name}"] = CONTACT_OHM * ones
            ohm[f"{t}.feed"] = ohm[f"{t}.return"] = CONTACT_OHM * ones
            drawn = (columns.load_z if state == "dc" else columns.live_z)[t]
            ohm[f"{t}.load"] = self.load_ohm(circuit.load, t, state)
            span = board_span(circuit, board)
            if span is not None:
                ohm[f"{t}.board"] = _within(span, drawn)
                if state == "dc" and board == "logic":
                    # At rest a board that drives the load by a relay of its own holds it apart.
                    del ohm[f"{t}.feed"]
        for joint in layout.equipment.r_side.joints:
            ohm[f"R.{joint.name}"] = CONTACT_OHM * ones
        for load in layout.equipment.r_side.loads:
            ohm[f"R.{load.name}"] = self.load_ohm(load, load.name, state)
        if setup.base_on:
            watts = RATED_VOLT**2 / ELECTRONICS_VA
            ohm["electronics"] = (watts if live else ELECTRONICS_DC_OHM) * ones
            ohm |= {f"{t}.contact": CONTACT_OHM * ones for t in setup.calls}
        ohm |= {f"{t}.jumper": JUMPER_OHM * ones for t in setup.jumpers}
        if live:
            ohm["supply"] = columns.source_ohm
            ohm["fuse"] = FUSE_OHM * ones
            farad = self.sources.coupling.picofarad_per_ft * 1e-12 * columns.length_ft["thermostat"]
            for t in layout.called:
                for other, share in (("R", columns.ghost), ("C", 1.0 - columns.ghost)):
                    siemens = 2j * pi * MAINS_HERTZ * farad * 2.0 * share
                    ohm[f"coupling.{t}.{other}"] = 1.0 / siemens
        return {name: 1.0 / value for name, value in ohm.items() if name not in setup.lifted}

    def changed(
        self, change: Change, base: dict[str, Numbers], setup: Setup, state: str
    ) -> Iterator[tuple[str | tuple[str, str], Numbers]]:
        """Element or node pair, and by how many siemens a fault changes it, (columns,)."""
        if isinstance(change.at, tuple):
            apart = change.within is not None and change.within in setup.lifted
            if not apart and (not change.base_on or setup.base_on):
                yield change.at, 1.0 / self.columns.fault_ohm[change.ohms]
            return
        healthy = base.get(change.at)
        if change.at == "accessory":
            impedance = RATED_VOLT**2 / self.columns.accessory_va
            yield change.at, 1.0 / (impedance * (ACCESSORY_DC_SHARE if state == "dc" else 1.0))
        elif healthy is None:
            return
        elif change.how == "open":
            yield change.at, -healthy
        elif change.how == "into":
            yield change.at, 1.0 / self.columns.fault_ohm[change.ohms] - healthy
        else:
            yield change.at, 1.0 / self._turns(1.0 / healthy) - healthy

    def _turns(self, healthy_ohm: Numbers) -> Numbers:
        if not np.iscomplexobj(healthy_ohm):
            return np.asarray(healthy_ohm * self.columns.turns_left)
        coupling = self.loads.turns.coupling
        shorted = [
            with_shorted_turns(z.real, z.imag, 1.0 - left, coupling)
            for z, left in zip(healthy_ohm, self.columns.turns_left, strict=True)
        ]
        return np.array(shorted)


def log_spread(span: tuple[float, float]) -> float:
    """Standard spread of the logarithm of what lies anywhere in a span, evenly by logarithm."""
    return log(span[1] / span[0]) / (2.0 * sqrt(3.0))


def board_span(circuit: Circuit, board: Board) -> Span | None:
    """Where a board's own input lies, if it has one; beside a load, about its usual ohms."""
    if board == "logic":
        return None if circuit.logic is None else circuit.logic.ohms
    if board == "alone" or circuit.board_ohm is None:
        return None
    return circuit.board_ohm / BESIDE_FACTOR, circuit.board_ohm * BESIDE_FACTOR


def _within(span: tuple[float, float], z: Numbers) -> Numbers:
    """So many standard spreads from the geometric middle of a span."""
    return np.asarray(sqrt(span[0] * span[1]) * np.exp(log_spread(span) * z))
