"""The calculator and its commands, the data files, and the benchmark."""

import argparse
import re

import pytest

from companion.datafiles import folder
from companion.diagnosis import benchmark, trying
from companion.diagnosis.case import open_case
from companion.diagnosis.commands import add_commands


def _run(line):
    parser = argparse.ArgumentParser()
    add_commands(parser.add_subparsers(required=True))
    args = parser.parse_args(line.split())
    return args.run(args)


@pytest.mark.parametrize(
    ("line", "unit", "words"),
    [
        ("distance 0.9 --leads 0.2 --feet 150 --celsius 35 --at wall=20", "ft", "past wall"),
        ("distance 0.6 --feet 40", "ft", "Split the cable"),
        ("loop --feet 50", "ohm", "far end reads this"),
        ("budget 40 dampers=30 humidifier=10 contactor=7 relay=5 stat=2", "VA", "Overload: 135%"),
        ("budget 40 contactor=5-10", "VA", "Fits"),
        ("fuse 3 0.2", "A", "pens quickly"),
        ("fuse 10 0.7 --marked 3", "A", "over the board's 3 A"),
        ("coil 0.7 --leads 0.2", "ohm", "Shorted dead"),
        ("coil OL", "ohm", "Open"),
        ("coil 4.2 --label 3.5 5", "ohm", "Plausible"),
    ],
)
def test_commands(line, unit, words):
    result = _run(line)
    low, high = result.interval
    assert result.unit == unit
    assert words in result.words
    assert result.source
    assert low <= high
    assert result.name in str(result)


def test_commands_refuse_nonsense():
    with pytest.raises(ValueError, match="rating above zero"):
        _run("fuse 0 0.2")
    with pytest.raises(KeyError):
        _run("coil 3 --family teapot")


def test_every_data_file_says_where_its_numbers_are_from():
    for path in sorted(p for f in ("circuit", "equipment", "accessories", "landed.toml")
                       for p in [folder("dialogs") / f, *(folder("dialogs") / f).rglob("*.toml")]
                       if p.suffix):  # fmt: skip
        sources = re.findall(r"^\w*source = \"(.+)\"", path.read_text("utf-8"), re.MULTILINE)
        assert sources, path
        for said in sources:
            known = ("judgement", "memory", "common practice", "published", "IEC", "ASTM", "NEC",
                     "ISO", "typical", "field guides")  # fmt: skip
            assert any(word in said for word in known), (path, said)


def test_the_benchmark_is_the_same_in_pieces_and_finds_faults(monkeypatch):
    def tried():
        jobs = list(trying.fault_jobs("cooling-gas-furnace", 12, 3, 0.02))
        return len(jobs), trying.gathered(map(trying.do, jobs)).runs

    whole, runs = tried()
    monkeypatch.setattr(trying, "A_JOB", 2)
    assert tried() == (3 * whole, runs)
    spent = {name: sum(run.minutes for run in of) for name, of in runs.items()}
    assert spent["planned"] < 0.6 * spent["fixed sweep"]
    assert sum(run.wrong for run in runs["planned"]) <= 2


def test_the_benchmark_goes_without_the_other_choosers(capsys):
    asked = "--equipment packaged-unit --faults 2 --compared 0 --small 0 --workers 1 --sizes"
    assert benchmark.main(asked.split()) == 0
    lines = [line.split(" | ") for line in capsys.readouterr().out.splitlines()]
    rows = {line[0].removeprefix("| packaged-unit: "): line[2:] for line in lines}
    *others, ours = rows["tests, mean"]
    assert not any(others)
    assert float(ours.removesuffix(" |")) > 0
    assert "less effort than fixed sweep" not in rows


def test_choosing_is_fast():
    """Bound loose enough for a busy machine; the benchmark measures."""
    rows, _, later, _ = benchmark.milliseconds("cooling-gas-furnace", 60)
    assert rows >= 40
    assert later < 200.0


def test_an_unknown_profile_is_a_key_error():
    with pytest.raises(KeyError):
        open_case("steam engine")
