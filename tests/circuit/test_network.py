"""The nodal solver against theorems, closed forms, and a solver that is not ours."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from companion.circuit.network import Network, SingularNetwork, admittance_matrix, solve_stack

ohms = st.floats(0.01, 1e4)


@st.composite
def networks(draw, complex_too=False):
    """Connected networks of three to eight nodes: a tree, then more branches."""
    size = draw(st.integers(3, 8))
    net = Network("0")
    extra = draw(st.lists(st.tuples(st.integers(0, size - 1), st.integers(0, size - 1)),
                          max_size=12))  # fmt: skip
    tree = [(draw(st.integers(0, n - 1)), n) for n in range(1, size)]
    for a, b in tree + extra:
        if a != b:
            reactance = draw(ohms) if complex_too else 0.0
            net.join(str(a), str(b), complex(draw(ohms), reactance))
    return net


def test_series_and_parallel():
    """Ohm: 12 and 60 in parallel are 10; with 5 in series, 15."""
    net = Network("0")
    net.join("1", "0", 12.0)
    net.join("1", "0", 60.0)
    net.join("2", "1", 5.0)
    assert net.ohms("2", "0") == pytest.approx(15.0)


def test_divider_and_source_current():
    net = Network("0")
    net.source("1", "0", 24.0)
    net.join("1", "2", 100.0)
    net.join("2", "0", 300.0)
    found = net.solve()
    assert found["2"] == pytest.approx(18.0)
    assert found.source_ampere[0] == pytest.approx(-0.06)  # out of plus, by passive sign


def test_a_source_of_zero_volts_is_an_ammeter():
    net = Network("0")
    net.source("1", "0", 24.0)
    net.source("1", "2", 0.0)
    net.join("2", "0", 12.0)
    assert net.solve().source_ampere[1] == pytest.approx(2.0)


@given(networks(complex_too=True), st.data())
def test_reciprocity(net, data):
    """A current here makes the voltage there that it would there make here."""
    nodes = sorted(net.nodes)
    a, b = data.draw(st.sampled_from(nodes)), data.draw(st.sampled_from(nodes))
    assert net.solve({a: 1.0})[b] == pytest.approx(net.solve({b: 1.0})[a], rel=1e-6, abs=1e-9)


@given(networks(), st.floats(-10, 10), st.floats(-10, 10))
def test_superposition(net, one, other):
    both = net.solve({"1": one, "2": other})
    alone = [net.solve({"1": one}), net.solve({"2": other})]
    for node in net.nodes:
        assert both[node] == pytest.approx(alone[0][node] + alone[1][node], rel=1e-6, abs=1e-6)


@given(networks())
def test_foster_1949(net):
    """Over all branches, ohms seen between its ends over its own sum to nodes less one."""
    total = sum(net.ohms(a, b).real / ohm.real for a, b, ohm in net.branches)
    assert total == pytest.approx(len(net.nodes) - 1, rel=1e-6)


@given(networks(), st.data())
def test_rayleigh_more_copper_never_reads_more(net, data):
    """Adding a branch never raises the resistance between any two nodes (Rayleigh 1871)."""
    nodes = sorted(net.nodes)
    a, b, c, d = (data.draw(st.sampled_from(nodes)) for _ in range(4))
    assume(a != b and c != d)
    before = net.ohms(a, b).real
    net.join(c, d, data.draw(ohms))
    assert net.ohms(a, b).real <= before * (1 + 1e-9)


@given(networks(), st.floats(0.1, 10))
def test_scaling(net, factor):
    scaled = Network("0")
    for a, b, ohm in net.branches:
        scaled.join(a, b, ohm * factor)
    assert scaled.ohms("1", "0") == pytest.approx(factor * net.ohms("1", "0"), rel=1e-6)


def test_a_lifted_wire_is_named():
    net = Network("C")
    net.join("R", "C", 12.0)
    net.join("Y", "Yo", 0.3)
    with pytest.raises(SingularNetwork, match=r"Nothing joins Y, Yo to C: a lifted wire"):
        net.solve()


def test_sources_against_each_other_are_named():
    net = Network("C")
    net.source("R", "C", 24.0)
    net.source("R", "C", 27.0)
    net.join("R", "C", 10.0)
    with pytest.raises(SingularNetwork, match="two transformers in parallel"):
        net.solve()


def test_resonance_has_no_one_solution():
    net = Network("C")
    net.join("R", "C", 1j)
    net.join("R", "C", -1j)
    with pytest.raises(SingularNetwork, match="cancel"):
        net.solve({"R": 1.0})


def test_a_branch_of_nothing_is_refused():
    with pytest.raises(ValueError, match="zero ohms"):
        Network("C").join("R", "C", 0.0)


def test_a_stack_is_each_network_by_itself():
    rng = np.random.default_rng(0)
    ends = [(0, 1), (1, 2), (2, 0), (2, 3), (3, 1)]
    siemens = rng.uniform(0.01, 10.0, (4, 6, 5))
    inject = np.zeros((4, 1))
    inject[3] = 1.0
    stack = solve_stack(admittance_matrix(4, ends, siemens, 0.0), inject)
    for i, j in np.ndindex(4, 6):
        net = Network("0")
        for (a, b), y in zip(ends, siemens[i, j], strict=True):
            net.join(str(a), str(b), 1.0 / y)
        alone = net.solve({"3": 1.0})
        for node in range(4):
            assert stack[i, j, node, 0] == pytest.approx(alone[str(node)].real)


@settings(max_examples=6, deadline=None)
@given(st.lists(st.integers(1, 500), min_size=7, max_size=7), st.integers(1, 900))
def test_against_an_independent_solver(values, millihenry):
    """lcapy solves the same netlist symbolically: a bridge behind a source, with a coil."""
    lcapy = pytest.importorskip("lcapy", reason="the independent solver is in the extra 'peer'")
    pairs = [("1", "2"), ("1", "3"), ("2", "0"), ("3", "0"), ("2", "3"), ("3", "4"), ("4", "0")]
    omega = 377
    lines = [f"V1 1 0 ac 24 0 {omega}", f"L1 4 5 {millihenry}e-3", "R9 5 0 10"]
    lines += [f"R{n} {a} {b} {r}"
              for n, ((a, b), r) in enumerate(zip(pairs, values, strict=True))]  # fmt: skip
    theirs = lcapy.Circuit("\n".join(lines))
    net = Network("0")
    net.source("1", "0", 24.0)
    net.join("4", "5", 1j * omega * millihenry * 1e-3)
    net.join("5", "0", 10.0)
    for (a, b), r in zip(pairs, values, strict=True):
        net.join(a, b, float(r))
    ours = net.solve()
    for node in ("2", "3", "4", "5"):
        assert ours[node] == pytest.approx(complex(theirs[node].V.phasor().sympy), rel=1e-6)
