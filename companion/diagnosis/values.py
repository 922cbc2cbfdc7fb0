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
from companion.circuit.shapes import Loads, Sources
from companion.diagnosis.equipment import Circuit
from companion.diagnosis.hypotheses import Change
from companion.diagnosis.layout import Layout
from companion.diagnosis.nuisance import Columns
from companion.diagnosis.trial import Setup

Numbers = NDArray[Any]

# Closed contacts, feeds and bonds, in ohms (judgement); a blade fuse by its cold resistance.
CONTACT_OHM, JUMPER_OHM, FUSE_OHM, BOND_OHM = 0.05, 0.05, 0.03, 0.02
ELECTRONICS_DC_OHM = 100e3  # a thermostat's rectifier input, from memory: kilohms to OL
ELECTRONICS_VA = 2.0  # from memory: thermostat 1 to 3 VA
ACCESSORY_DC_SHARE = 0.4  # judgement: an accessory's DC ohms to its impedance
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

    def spread(self, circuit: Circuit) -> float:
        """Standard spread of the logarithm of a healthy load's ohms (uniform over its span)."""
        least, most = circuit.load.ohms or self.loads.of(circuit.load.family).ohms
        return log(most / least) / (2.0 * sqrt(3.0))

    def load_ohm(self, circuit: Circuit, state: str, shift: float) -> Numbers:
        """A healthy load by column: DC ohms, or impedance "sealed" or "pulling"."""
        family = self.loads.of(circuit.load.family)
        least, most = circuit.load.ohms or family.ohms
        drawn = self.columns.load_z if state == "dc" else self.columns.live_z
        z = drawn[circuit.terminal] + shift
        spread = self.spread(circuit)
        dc = sqrt(least * most) * np.exp(spread * z)
        if state == "dc":
            return np.asarray(dc)
        va = family.sealed_va if state == "sealed" else family.inrush_va
        # A coil of more ohms is one of more turns, so its VA is taken lower in step.
        middle, reach = sqrt(va[0] * va[1]), log(va[1] / va[0]) / (2.0 * sqrt(3.0))
        impedance = RATED_VOLT**2 / middle * np.exp(reach * z)
        impedance = np.maximum(impedance, dc)
        return np.asarray(dc + 1j * np.sqrt(impedance**2 - dc**2))

    def base(self, setup: Setup, state: str, shift: float) -> dict[str, Numbers]:
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
            ohm[f"{t}.load"] = self.load_ohm(circuit, state, shift)
            if circuit.board_ohm is not None:
                ohm[f"{t}.board"] = circuit.board_ohm * ones
        if setup.base_on:
            watts = RATED_VOLT**2 / ELECTRONICS_VA
            ohm["electronics"] = (watts if live else ELECTRONICS_DC_OHM) * ones
            ohm |= {f"{t}.contact": CONTACT_OHM * ones for t in setup.calls}
        ohm |= {f"{t}.jumper": JUMPER_OHM * ones for t in setup.jumpers}
        if live:
            ohm["supply"] = columns.source_ohm
            ohm["fuse"] = FUSE_OHM * ones
            farad = self.sources.coupling.picofarad_per_ft * 1e-12 * columns.length_ft["thermostat"]
            for t in layout.terminals:
                for other in ("R", "C"):
                    ohm[f"coupling.{t}.{other}"] = 1.0 / (2j * pi * MAINS_HERTZ * farad)
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
