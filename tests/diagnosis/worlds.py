"""Small worlds for tests: given chances, chains of splices, and a house of known values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from companion.circuit import tables as circuit_tables
from companion.diagnosis.battery import battery
from companion.diagnosis.belief import Belief
from companion.diagnosis.case import Case
from companion.diagnosis.hypotheses import Hypothesis, hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.likelihood import Trust
from companion.diagnosis.nuisance import Columns, draw
from companion.diagnosis.predict import Predictor
from companion.diagnosis.predicted import Predicted
from companion.diagnosis.tables import effort, likelihoods, priors
from companion.diagnosis.trial import Setup, Test
from companion.diagnosis.values import Valued
from companion.equipment import Equipment, all_equipment


class Given(Predictor):
    """Chances of words as given, test by test; no network."""

    def __init__(self, weights, chances):
        self.hypotheses = tuple(
            Hypothesis(f"h{i}", frozenset({f"part {i}"}), frozenset(), frozenset({"board"}),
                       frozenset(), (), weight, "given")
            for i, weight in enumerate(weights)
        )  # fmt: skip
        self._chances = {name: np.asarray(c, float)[:, None, :] for name, c in chances.items()}
        self.tests = {
            name: Test(name, name, "look", Setup("any"), ("", ""), None, "board", 1.0,
                       words=tuple(f"outcome {k}" for k in range(c.shape[-1])))
            for name, c in self._chances.items()
        }  # fmt: skip

    @property
    def columns(self):
        return 1

    def of(self, name):
        return Predicted(words=self._chances[name])


def trust(misheard=0.0):
    return Trust(circuit_tables.meter(), likelihoods(), misheard)


def given(weights, chances):
    return Case(Belief(Given(weights, chances), trust()), effort())


def chain(splices=7):
    """A load at the end of a chain of splices, one of them shorted, each as likely."""
    equipment = Equipment.model_validate({
        "id": "chain", "title": "chain", "answer": "none", "wire_source": "made up",
        "r_side": {"function": "R side", "wiring": "R wire", "at_rest_ohms": [1e3, 1e7],
                   "at_rest_source": "made up"},
        "transformer_va": 40.0, "fuse_ampere": 3.0, "source": "made up",
        "cables": {name: {"awg": 18, "length_ft": [20, 60], "temperature_c": 20, "far": far}
                   for name, far in (("thermostat", "thermostat"), ("outdoor", "outdoor unit"))},
        "circuits": [{"terminal": "Y", "cable": "outdoor", "function": "cooling", "wiring": "w",
                      "load": {"name": "contactor coil", "family": "contactor"},
                      "joints": [{"name": f"splice {n}", "kind": "splice"}
                                 for n in range(splices)]}],
    })  # fmt: skip
    layout = Layout(equipment)
    rows = [h for h in hypotheses(layout, priors(), "opens", pair_least=1.0)
            if h.part_kinds == {"splice"} and h.kinds == {"short"}]  # fmt: skip
    rows = [replace(h, weight=1.0 / len(rows)) for h in rows]
    end, back = layout.end("outdoor", "Y"), layout.end("outdoor", "C")
    tests = [Test(f"open splice {n}", "", "ohms", Setup(lifted=frozenset({f"Y.splice {n}"})),
                  (end, back), "Y", "outdoor unit", 3.0) for n in range(splices)]  # fmt: skip
    return _case(layout, rows, tests, random_columns(equipment, 8))


def random_columns(equipment, count):
    rng = np.random.default_rng(5)
    return draw(equipment, priors().ohms, circuit_tables.sources(), count, rng)


def _case(layout, rows, tests, columns):
    valued = Valued(layout, columns, circuit_tables.loads(), circuit_tables.sources())
    predictor = Predictor(valued, rows, tests, likelihoods(), layout.equipment.fuse_ampere)
    return Case(Belief(predictor, trust(0.02)), effort())


def reference_house(complaint="opens"):
    """One column of round values: 60 ft and 50 ft of cable, 27 V behind 1.8 ohms, bonded."""
    equipment = all_equipment()["cooling-gas-furnace"]
    layout = Layout(equipment)
    columns = random_columns(equipment, 1)
    one = np.ones(1)
    known = Columns(
        length_ft={"thermostat": 60.0 * one, "outdoor": 50.0 * one}, along=0.5 * one,
        open_volt=27.0 * one, source_ohm=1.8 * one, winding_ohm=0.9 * one, bonded=one > 0,
        fault_ohm=dict.fromkeys(columns.fault_ohm, 0.02 * one), turns_left=0.33 * one,
        accessory_va=54.0 * one, load_z=dict.fromkeys(columns.load_z, 0.0 * one),
        live_z=dict.fromkeys(columns.live_z, 0.0 * one),
        ghost=0.5 * one, meter_z=0.0 * one,
    )  # fmt: skip
    rows = hypotheses(layout, priors(), complaint, pair_least=1.0)
    return _case(layout, rows, battery(layout, effort()), known)


def row(case, name):
    names = [h.name for h in case.belief.predictor.hypotheses]
    return names.index(name)
