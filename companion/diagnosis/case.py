"""One call for the reasoner: belief, where the technician stands, what has been asked.

``Case`` is a value: every change gives a new one, so that it can be taken back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from companion.circuit import tables as circuit_tables
from companion.diagnosis.battery import battery
from companion.diagnosis.belief import Belief
from companion.diagnosis.hypotheses import hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.likelihood import Observation, Outcome, Trust, heard_wrong, repeat
from companion.diagnosis.nuisance import draw
from companion.diagnosis.predict import Predictor
from companion.diagnosis.tables import Complaint, Effort, effort, likelihoods, priors
from companion.diagnosis.trial import Test
from companion.diagnosis.values import Valued
from companion.equipment import Equipment, all_equipment

COLUMNS = 32
_SEED = 24  # columns are drawn the same every time, so that a call can be replayed


@dataclass(frozen=True)
class Standing:
    """Where the technician is, and how the installation is put now."""

    place: str = "board"
    power: str = "any"
    base_on: bool = True


@dataclass(frozen=True)
class Case:
    """Belief and standing.

    Args:
        belief: over hypotheses.
        table: efforts.
        standing: place, power, thermostat base.
        asked: tests done, in order, refused ones included.
        refused: tests that the technician will not or cannot do.
    """

    belief: Belief
    table: Effort
    standing: Standing = Standing()
    asked: tuple[str, ...] = ()
    refused: frozenset[str] = frozenset()

    def heard(self, name: str, outcome: Outcome, *, confirmed: bool = False) -> Case:
        """After a test came out; ``confirmed`` if that was read back and said to be right.

        Raises:
            KeyError: no such test.
            ValueError: the test has no such outcome.
        """
        test = self.belief.predictor.tests[name]
        return replace(
            self,
            belief=self.belief.after(Observation(name, outcome, confirmed)),
            standing=after(test, self.standing),
            asked=(*self.asked, name),
        )

    def refuse(self, name: str) -> Case:
        """After a test was refused: nothing is learned, and it is not asked again."""
        return replace(self, refused=self.refused | {name})

    def minutes(self, name: str) -> float:
        """Effort of a test from here: way, hazard, making safe, doing.

        Raises:
            KeyError: no such test.
        """
        test = self.belief.predictor.tests[name]
        return minutes(test, self.standing, self.table, again=self.asked[-1:] == (name,))

    def open(self, allowed: Sequence[str] | None = None) -> list[str]:
        """Tests that may be asked now: allowed, not refused, not done twice already; a third time
        where the two readings contradict each other.

        Nor what was confirmed just now: that was its check, and the same hands on the same points
        read the same. After another test it may be.
        """
        names = self.belief.predictor.tests if allowed is None else allowed
        last = self.belief.observations[-1:]
        shut = self.refused | {o.test for o in last if o.confirmed}
        return [n for n in names if n not in shut and self.asked.count(n) < self._most(n)]

    def _most(self, name: str) -> int:
        belief = self.belief
        test, trust = belief.predictor.tests[name], belief.trust
        first, *again = [o.outcome for o in belief.observations if o.test == name] or [""]
        # Likelier that one was heard wrong than that the same points read so twice.
        apart = any(repeat(test, first, other, trust) < heard_wrong(test, other) for other in again)
        return 3 if apart else 2


def after(test: Test, standing: Standing) -> Standing:
    """Where a test leaves the technician and the installation."""
    if test.setup.power == "any":
        return replace(standing, place=test.where)
    return Standing(test.where, test.setup.power, test.setup.base_on)


def minutes(test: Test, standing: Standing, table: Effort, *, again: bool = False) -> float:
    """Effort of a test in minutes, from ``dialogs/circuit/effort.toml``."""
    if again:
        return table.minutes.repeat_reading
    there = table.at(test.where)
    spent = test.minutes * there.hazard
    if test.where != standing.place:
        spent += (table.at(standing.place).way_minutes + there.way_minutes) * there.hazard
    power = test.setup.power
    if power != "any":
        if power != standing.power:
            spent += table.minutes.make_dead if power == "dead" else table.minutes.make_live
        if test.setup.base_on != standing.base_on:
            spent += table.minutes.base_on_or_off
    return spent


@cache
def _predictor(
    equipment: Equipment, complaint: Complaint, history: tuple[str, ...], pair_least: float | None
) -> Predictor:
    layout = Layout(equipment)
    rows = hypotheses(layout, priors(), complaint, history, pair_least=pair_least)
    rng = np.random.default_rng(_SEED)
    sources = circuit_tables.sources()
    columns = draw(equipment, priors().ohms, sources, COLUMNS, rng)
    valued = Valued(layout, columns, circuit_tables.loads(), sources)
    tests = battery(layout, effort(), complaint)
    return Predictor(valued, rows, tests, likelihoods(), equipment.fuse_ampere,
                     bond_apart=True)  # fmt: skip


def open_case(
    equipment: Equipment | str,
    complaint: Complaint = "opens",
    history: Sequence[str] = (),
    *,
    misheard: float | None = None,
    pair_least: float | None = None,
) -> Case:
    """A case before anything is read.

    Args:
        equipment: what is installed, or the id of a file of ``dialogs/equipment``.
        complaint: the fuse opens, or nothing answers though the fuse is whole.
        history: names of history entries of ``priors.toml``.
        misheard: rate of misheard readings; the table's by default.
        pair_least: prior above which two faults at once are listed.

    Raises:
        KeyError: no such equipment or history.
        DataFileError: a data file is at fault.
    """
    if isinstance(equipment, str):
        equipment = all_equipment()[equipment]
    predictor = _predictor(equipment, complaint, tuple(history), pair_least)
    table = likelihoods()
    rate = table.misheard.rate if misheard is None else misheard
    trust = Trust(circuit_tables.meter(), table, rate)
    return Case(Belief(predictor, trust), effort())
