"""What is fitted in one house, drawn once, and what a meter shows of it under a given fault.

The networks are the reasoner's (``diagnosis.predict``), solved here for one draw of everything
that the reasoner has to average over, and read with a meter that has errors of its own.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.circuit import meter as meters
from companion.circuit import tables as circuit_tables
from companion.circuit.copper import ALPHA_20C_PER_K
from companion.diagnosis.hypotheses import Hypothesis
from companion.diagnosis.layout import Layout
from companion.diagnosis.likelihood import OL, Trust
from companion.diagnosis.nuisance import Columns, board_shares, draw
from companion.diagnosis.predict import Predictor
from companion.diagnosis.predicted import Predicted
from companion.diagnosis.tables import likelihoods, priors
from companion.diagnosis.trial import Test
from companion.diagnosis.values import Valued, log_spread
from companion.equipment import Equipment

Numbers = NDArray[Any]

LEADS_OHM = (0.1, 0.4)  # handheld meter guides: leads of 0.2 to 0.5 ohms; a pair, new to worn
GHOST_VOLT = (0.1, 0.6)  # judgement: C to a cabinet that nothing ties to it, meter of 10 megohms


@dataclass(frozen=True)
class Shown:
    """What a display or an eye shows: a number in SI, ``likelihood.OL``, or a word.

    ``opened`` tells whether fuse or breaker opened over it.
    """

    value: float | str
    opened: bool = False


class Installed:
    """One installation, apart from what is wrong with it.

    Args:
        equipment: what is fitted.
        seed: of lengths, loads, boards, leads and the meter; the same seed is the same house.
    """

    def __init__(self, equipment: Equipment, seed: int) -> None:
        self.equipment, self._seed = equipment, seed
        self.layout = Layout(equipment)
        self._sources = circuit_tables.sources()
        rng = np.random.default_rng((seed, 3))
        self._cold = draw(equipment, priors().ohms, self._sources, 1, rng, loads_vary=True)
        self._boards = {}
        for circuit in equipment.circuits:
            shares = np.cumsum(board_shares(circuit)) / board_shares(circuit).sum()
            self._boards[circuit.terminal] = int(np.searchsorted(shares, rng.random()))
        self._trust = Trust(circuit_tables.meter(), likelihoods(), 0.0)
        own = np.random.default_rng((seed, 2))
        # One meter a call: its gain and offset stay, within the limits it is sold with.
        self._gain, self._offset = own.uniform(-1.0, 1.0, 2)
        self.leads_ohm = round(float(own.uniform(*LEADS_OHM)), 1)
        self._ghost_volt = float(own.uniform(*GHOST_VOLT))

    @property
    def winding_ohm(self) -> float:
        """Of the transformer's secondary."""
        return float(self._cold.winding_ohm[0])

    @property
    def open_volt(self) -> float:
        """Of the transformer's secondary with nothing on it."""
        return round(float(self._cold.open_volt[0]), 1)

    @property
    def ground_volt(self) -> float:
        """AC volts from C to the cabinet: none where common is bonded, else a ghost of some."""
        return 0.0 if bool(self._cold.bonded[0]) else round(self._ghost_volt, 1)

    def _warmed(self, kelvin: Mapping[str, float]) -> Columns:
        """The draws with windings so much above 20 degrees (IEC 60028's coefficient)."""
        loads = dict(self._cold.load_z)
        for circuit in self.equipment.circuits:
            spread = log_spread(circuit.load.ohms)
            rise = kelvin.get(circuit.terminal, 0.0)
            if rise > 0.0 and spread > 0.0:
                more = np.log1p(ALPHA_20C_PER_K * rise) / spread
                loads[circuit.terminal] = loads[circuit.terminal] + more
        return replace(self._cold, load_z=loads)

    def _predicted(
        self, fault: Hypothesis, test: Test, kelvin: Mapping[str, float]
    ) -> tuple[Predicted, tuple[int, ...]]:
        """The prediction and where in it this installation's own value is."""
        valued = Valued(self.layout, self._warmed(kelvin), circuit_tables.loads(), self._sources)
        fuse = self.equipment.fuse_ampere
        real = Predictor(valued, [fault], [test], likelihoods(), fuse).of(test.name)
        by_board = real.mean is not None and real.mean.ndim == 3
        return real, (self._boards.get(test.circuit or "", 0), 0, 0) if by_board else (0, 0)

    def flawless(self, fault: Hypothesis, test: Test) -> float | str:
        """What a meter without error shows, leads off, and a sure eye sees."""
        real, at = self._predicted(fault, test, {})
        if real.words is not None:
            return test.outcomes[int(real.words[0, 0].argmax())]
        assert real.mean is not None
        assert real.none is not None
        return self._displayed(0.0 if real.none[at] > 0.5 else float(real.mean[at]), test)

    def shows(
        self,
        fault: Hypothesis,
        test: Test,
        time: int,
        kelvin: Mapping[str, float],
        beside_ohm: float | None = None,
    ) -> Shown:
        """What shows under a fault.

        Args:
            fault: what is wrong now.
            test: how the installation is put, and where it is read.
            time: how often the same was read before; each time has its own contact.
            kelvin: by terminal, how much its load is above 20 degrees.
            beside_ohm: what lies straight across the probes besides, for ohms.
        """
        real, at = self._predicted(fault, test, kelvin)
        again = 0 if test.measure == "look" else time
        rng = np.random.default_rng((self._seed, zlib.crc32(test.name.encode()), again))
        if real.words is not None:
            return self._seen(test, real.words[0, 0], rng)
        assert real.mean is not None
        assert real.none is not None
        span = self._trust.range_of(test.measure)
        opened = bool(rng.random() < real.none[at])
        value = 0.0 if opened else float(real.mean[at])
        if beside_ohm is not None:
            value = value * beside_ohm / (value + beside_ohm)
        if test.measure == "ohms":
            contact = self._trust.meter.contact.half_width_ohm
            value += self.leads_ohm + float(rng.uniform(-contact, contact, 2).sum())
        value *= 1.0 + span.relative * self._gain
        value += span.counts * span.resolution * self._offset
        return Shown(self._displayed(max(0.0, value), test), opened)

    def _seen(self, test: Test, chances: Numbers, rng: np.random.Generator) -> Shown:
        """A word. That a breaker is taken to have tripped opens nothing."""
        wrong = likelihoods().wrong_way.trips if test.measure == "breaker" else 0.0
        sure = np.maximum(chances - wrong / len(chances), 0.0)
        word = str(rng.choice(test.outcomes, p=sure / sure.sum()))
        opened = word == "trips"
        if rng.random() < wrong:
            word = str(rng.choice(test.outcomes))
        return Shown(word, opened)

    def touched_leads(self, time: int) -> float:
        """Ohms shown with the leads on each other."""
        span = self._trust.meter.ohms
        rng = np.random.default_rng((self._seed, 5, time))
        contact = self._trust.meter.contact.half_width_ohm / 2.0
        value = self.leads_ohm + span.counts * span.resolution * self._offset
        return float(round(max(0.0, value + float(rng.uniform(-contact, contact))), 1))

    def _displayed(self, value: float, test: Test) -> float:
        shown = meters.display(value, self._trust.range_of(test.measure))
        return OL if shown is None else shown
