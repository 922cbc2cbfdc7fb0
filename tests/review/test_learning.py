"""What many calls teach: little from few, the truth from many, and the same from anywhere."""

from __future__ import annotations

import shutil

import fsspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion import cli
from companion.datafiles import folder, load
from companion.diagnosis.tables import Priors
from companion.journal import JOURNAL
from companion.review.installation import installations
from companion.review.learning import Names
from companion.review.many import connect, export_lines, gather_calls
from companion.review.shrinkage import likeliest_strength, shared, shrunk, spread
from tests.review.synthetic import TRUTH, learned_from, make

SHIPPED = load(folder("dialogs") / "circuit" / "priors.toml", Priors)
CELLS = [("load outdoors", "dead coil"), ("splice", "short"), ("outdoor cable", "short")]


def share_of(learned, cell) -> float:
    return shared(learned.weights["opens"])[cell]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    place = tmp_path_factory.mktemp("made")
    make(place, 3000, files=3)
    return place


def test_many_calls_teach_what_really_fails_in_each_kind_of_equipment(made):
    _, calls, learned = learned_from(f"{made}/*.parquet")
    assert calls == 3000
    by_group = {group.group: group for group in learned}
    (truth,) = [dict(zip(CELLS, (s for _, _, s in TRUTH["cooling-gas-furnace"]), strict=True))]
    for cell, share in truth.items():
        assert share_of(by_group["cooling-gas-furnace"], cell) == pytest.approx(share, abs=0.04)
    assert share_of(by_group["heat-pump-air-handler"], CELLS[0]) == pytest.approx(0.6, abs=0.04)
    assert {"cooling-gas-furnace.winter", "heat-pump-air-handler.summer"} <= by_group.keys()


def test_few_calls_teach_little(made):
    _, _, many = learned_from(f"{made}/*.parquet")
    shipped = shared({(f.part, f.kind): f.opens for f in SHIPPED.fault})
    one = shrunk({CELLS[1]: 1.0}, shipped, 50.0)
    assert abs(one[CELLS[1]] - shipped[CELLS[1]]) < 0.02
    assert abs(share_of(many[0], CELLS[1]) - shipped[CELLS[1]]) > 0.05


def test_the_same_is_learned_from_files_and_from_an_object_store(made):
    _, _, from_files = learned_from(f"{made}/*.parquet")
    objects = fsspec.filesystem("memory")
    for path in made.glob("*.parquet"):
        objects.pipe(f"/learned/{path.name}", path.read_bytes())
    database = connect()
    database.register_filesystem(objects)
    _, _, from_objects = learned_from("memory://learned/*.parquet", database)
    assert from_objects == from_files


def test_the_same_is_learned_from_journals_and_from_their_lines_elsewhere(call, tmp_path):
    for name in ("monday", "tuesday", "demo-made-up"):
        shutil.copytree(call, tmp_path / "calls" / name)
    with (tmp_path / "calls" / "tuesday" / JOURNAL).open("ab") as torn:
        torn.write(b'{"seq": 999, "wa')
    database, calls, learned = learned_from(str(tmp_path / "calls"))
    assert (calls, learned[0].calls["opens"]) == (2, 2.0)  # what is made up teaches nothing
    assert learned[0].counts["opens"][CELLS[0]] == 2.0
    export_lines(database, tmp_path / "lines.parquet")
    assert learned_from(str(tmp_path / "lines.parquet"))[1:] == (calls, learned)


def test_the_reasoning_core_reads_what_was_learned(call, tmp_path, capsys):
    shutil.copytree(call, tmp_path / "calls" / "monday")
    out = tmp_path / "learned"
    arguments = ["learn", "--calls", str(tmp_path / "calls"), "--out", str(out)]
    assert cli.main(arguments) == 0
    assert "1 calls, 1 proved repairs" in capsys.readouterr().out
    names = {path.name for path in out.iterdir()}
    assert {"figures.html", "priors.toml", "priors.cooling-gas-furnace.toml"} <= names
    for path in out.glob("*.toml"):
        priors = load(path, Priors)
        assert "learned from proved repairs (1 opens, 0 nothing)" in priors.source
        was = {(f.part, f.kind): (f.opens, f.nothing) for f in SHIPPED.fault}
        now = {(f.part, f.kind): (f.opens, f.nothing) for f in priors.fault}
        assert now.keys() == was.keys()
        for column in (0, 1):
            total = sum(weights[column] for weights in was.values())
            assert sum(w[column] for w in now.values()) == pytest.approx(total, rel=1e-4)
        assert now[CELLS[0]][0] > was[CELLS[0]][0]
        assert (priors.ohms, priors.history) == (SHIPPED.ohms, SHIPPED.history)


def test_what_records_call_faults_are_kinds_of_the_priors():
    names = load(folder("dialogs") / "review" / "faults.toml", Names)
    kinds, parts = {f.kind for f in SHIPPED.fault}, {f.part for f in SHIPPED.fault}
    assert {kind for known in names.kinds.values() for kind in known} <= kinds
    assert {part for known in names.parts.values() for part in known} - parts <= {"indoor cable"}
    for known in installations(folder("dialogs")):
        assert set(known.part_kinds().values()) - parts <= {"indoor cable"}


def test_wiring_is_shared_among_what_it_may_have_been():
    mean = shared({CELLS[0]: 2.0, CELLS[1]: 1.0, CELLS[2]: 3.0})
    counts = spread([(frozenset(CELLS[1:]), 8.0)], mean, 50.0)
    assert counts[CELLS[0]] == 0.0
    assert counts[CELLS[1]] + counts[CELLS[2]] == pytest.approx(8.0)
    assert counts[CELLS[2]] / counts[CELLS[1]] == pytest.approx(3.0)


@settings(deadline=None)  # a shared machine may stall
@given(st.lists(st.floats(0, 1e4), min_size=3, max_size=3), st.floats(1, 1e4))
def test_learned_shares_sum_to_one_and_lie_between_prior_and_count(counts, strength):
    mean = shared(dict(zip(CELLS, (5.0, 3.0, 2.0), strict=True)))
    seen = dict(zip(CELLS, counts, strict=True))
    after = shrunk(seen, mean, strength)
    assert sum(after.values()) == pytest.approx(1.0)
    for cell in CELLS if sum(counts) else ():
        ends = sorted((mean[cell], seen[cell] / sum(counts)))
        assert ends[0] - 1e-9 <= after[cell] <= ends[1] + 1e-9


def test_groups_that_are_alike_are_held_together():
    mean = shared({CELLS[0]: 1.0, CELLS[1]: 1.0})
    alike = [{CELLS[0]: 20.0, CELLS[1]: 20.0} for _ in range(4)]
    apart = [{CELLS[n % 2]: 40.0, CELLS[1 - n % 2]: 0.0} for n in range(4)]
    assert likeliest_strength(alike, mean) > 20 * likeliest_strength(apart, mean)


def test_an_empty_folder_is_told(tmp_path, capsys):
    assert cli.main(["learn", "--calls", str(tmp_path), "--out", str(tmp_path / "x")]) == 8
    assert "no records" in capsys.readouterr().err
    with pytest.raises(Exception, match="no records"):
        gather_calls(connect(), f"{tmp_path}/*.parquet", [])
