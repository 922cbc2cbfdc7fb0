"""Invented installations with a hidden fault, that answer tests as a technician would say them.

Everything a reasoner has to average over is drawn here: lengths, loads, the fault's ohms,
the meter's own error, contact, and now and then a word that comes out as another.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from companion.circuit import meter as meters
from companion.circuit import tables as circuit_tables
from companion.diagnosis.hypotheses import Hypothesis
from companion.diagnosis.layout import Layout
from companion.diagnosis.likelihood import OL, Trust
from companion.diagnosis.nuisance import Draws, Halfway, board_shares, draw
from companion.diagnosis.predict import Predictor
from companion.diagnosis.predicted import Predicted
from companion.diagnosis.tables import likelihoods, priors
from companion.diagnosis.trial import Test
from companion.diagnosis.values import Valued
from companion.equipment import Equipment
from companion.sound_alike import sounds_like


@dataclass
class Installation:
    """One installation with one hypothesis true.

    Args:
        predictor: what it would read, for the hidden hypothesis alone.
        hidden: what is wrong.
        trust: the meter, and the rate of mishearing.
        seed: of this installation; the same test comes out the same for every chooser.
        boards: by terminal, which of ``nuisance.BOARDS`` it has.
    """

    predictor: Predictor
    hidden: Hypothesis
    trust: Trust
    seed: int
    boards: dict[str, int]

    def certain(self, name: str) -> float | str:
        """What a flawless meter shows and a sure eye sees; heard right."""
        test, real = self.predictor.tests[name], self.predictor.of(name)
        if real.words is not None:
            return test.outcomes[int(real.words[0, 0].argmax())]
        assert real.mean is not None
        assert real.none is not None
        at = self._at(test, real)
        value = 0.0 if real.none[at] > 0.5 else float(real.mean[at])
        shown = meters.display(value, self.trust.range_of(test.measure))
        return OL if shown is None else shown

    def _at(self, test: Test, real: Predicted) -> tuple[int, ...]:
        """Where in a prediction this installation's own value is."""
        by_board = real.mean is not None and real.mean.ndim == 3
        return (self.boards.get(test.circuit or "", 0), 0, 0) if by_board else (0, 0)

    def answer(self, name: str, time: int = 0) -> float | str:
        """What is heard for a test; ``time`` counts how often it was asked before."""
        test = self.predictor.tests[name]
        index = list(self.predictor.tests).index(name)
        rng = np.random.default_rng((self.seed, index, 0 if test.measure == "look" else time))
        said = self._said(test, self.predictor.of(name), rng)
        ears = np.random.default_rng((self.seed, index, time, 1))
        if ears.random() >= self.trust.misheard:
            return said
        return _misheard(test, said, ears)

    def _said(self, test: Test, real: Predicted, rng: np.random.Generator) -> float | str:
        if real.words is not None:
            chances = real.words[0, 0]
            return str(rng.choice(test.outcomes, p=chances / chances.sum()))
        assert real.mean is not None
        assert real.none is not None
        span = self.trust.range_of(test.measure)
        # One meter a call: its gain and offset stay, within the limits it is sold with.
        own = np.random.default_rng((self.seed, 2)).uniform(-1.0, 1.0, 2)
        at = self._at(test, real)
        value = float(real.mean[at])
        if rng.random() < real.none[at]:
            value = 0.0
        value *= 1.0 + span.relative * own[0]
        value = max(0.0, value + span.counts * span.resolution * own[1])
        if test.measure == "ohms":
            value += (
                float(rng.uniform(-1.0, 1.0, 2).sum()) * self.trust.meter.contact.half_width_ohm
            )
        shown = meters.display(max(0.0, value), span)
        return OL if shown is None else shown


def install(
    equipment: Equipment,
    hidden: Hypothesis,
    tests: tuple[Test, ...],
    seed: int,
    misheard: float,
    *,
    middling: bool = False,
) -> Installation:
    """An installation around a hidden hypothesis, drawn at random or middling in everything."""
    rng: Draws = Halfway() if middling else np.random.default_rng((seed, 3))
    sources = circuit_tables.sources()
    columns = draw(equipment, priors().ohms, sources, 1, rng, loads_vary=True)
    valued = Valued(Layout(equipment), columns, circuit_tables.loads(), sources)
    trust = Trust(circuit_tables.meter(), likelihoods(), misheard)
    predictor = Predictor(valued, [hidden], tests, likelihoods(), equipment.fuse_ampere)
    boards = {}
    for c in equipment.circuits:
        shares = np.cumsum(board_shares(c)) / board_shares(c).sum()
        boards[c.terminal] = int(np.searchsorted(shares, rng.random(1)[0]))
    return Installation(predictor, hidden, trust, seed, boards)


def _misheard(test: Test, said: float | str, rng: np.random.Generator) -> float | str:
    """Another word, or a number as numbers are misheard: teens for tens, a lost point, OL."""
    if isinstance(said, str):
        return str(rng.choice([word for word in test.outcomes if word != said]))
    if said == OL:
        return float(rng.choice([0.0, 0.1, 11.0]))  # "O L" for "oh", "point one", "eleven"
    swapped = sounds_like(said)
    if swapped is not None:
        return swapped
    choices = [said * 10.0, said / 10.0, *([OL] if test.measure == "ohms" else [])]
    return float(rng.choice(choices))
