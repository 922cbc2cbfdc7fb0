"""Every hypothesis as an update of the sound network, against solving each by itself."""

import numpy as np
import pytest

from companion.circuit import tables as circuit_tables
from companion.circuit.network import solve_stack, stamp
from companion.diagnosis.battery import battery
from companion.diagnosis.hypotheses import hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.likelihood import OPEN_OHM
from companion.diagnosis.tables import effort, priors
from companion.diagnosis.transfer import Transfer
from companion.diagnosis.values import Valued
from companion.equipment import all_equipment
from companion.fitting import fit
from tests.diagnosis.worlds import random_columns

KINDS = {
    "heat pump": all_equipment()["heat-pump-two-stage"],
    "zones": all_equipment()["zone-panel"],
    "roof": fit(all_equipment()["packaged-unit"], "air-cleaner", "float-switch", breaks="R"),
}


def by_itself(valued, setup, hypothesis, state, net, ports):
    matrix = net.sound_matrix.copy()
    for change in hypothesis.changes:
        for at, more in valued.changed(change, net.base, setup, state):
            stamp(matrix, *valued.layout.ends(at), more)
    right = np.zeros((matrix.shape[-1], len(ports)))
    for k, (a, b) in enumerate(ports):
        right[a, k] += 1.0
        right[b, k] -= 1.0
    volt = solve_stack(matrix, right)
    return np.stack([volt[:, a] - volt[:, b] for a, b in ports], axis=1)


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("complaint", ["opens", "nothing"])
def test_updates_agree_with_solving_anew(name, complaint):
    layout = Layout(KINDS[name])
    rows = hypotheses(layout, priors(), complaint)
    columns = random_columns(KINDS[name], 2)
    valued = Valued(layout, columns, circuit_tables.loads(), circuit_tables.sources())
    by_setup = {}
    for test in battery(layout, effort(), complaint):
        if test.at[0]:
            by_setup.setdefault(test.setup, []).append(test)
    for setup, tests in by_setup.items():
        state = "sealed" if setup.power == "live" else "dc"
        ports = list(dict.fromkeys((layout.nodes[t.at[0]], layout.nodes[t.at[1]]) for t in tests))
        source = (layout.nodes["S"], layout.nodes["C"])
        every = [*ports, source]
        net = Transfer(valued, setup, rows, state, every)
        ours, across = np.abs(net.own(ports)), net.across(every, [source])
        for row, hypothesis in enumerate(rows):
            theirs = by_itself(valued, setup, hypothesis, state, net, every)
            seen = np.abs(np.diagonal(theirs, axis1=1, axis2=2))[:, :-1]
            both_open = (seen > OPEN_OHM) & (ours[:, row] > OPEN_OHM)
            close = np.isclose(ours[:, row], seen, rtol=1e-3, atol=1e-4)
            assert (both_open | close).all(), (setup, hypothesis.name)
            # Without a transformer nothing drives the network: those volts are zero anyway.
            if setup.power == "live" and all(c.at != "supply" for c in hypothesis.changes):
                driven = theirs[..., -1:]
                assert np.allclose(across[:, row], driven, rtol=1e-3, atol=1e-2), hypothesis.name
