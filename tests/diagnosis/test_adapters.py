"""The reasoner behind the procedure's doors, the calculator, its commands, and the data files."""

import argparse
import re

import pytest

from companion.datafiles import folder
from companion.diagnosis import VERDICTS, benchmark
from companion.diagnosis.adapters import chooser_for, judge_for
from companion.diagnosis.case import open_case
from companion.diagnosis.commands import add_commands
from companion.diagnosis.equipment import all_equipment, read_equipment
from companion.errors import DataFileError
from companion.messages import Known, Reading
from companion.procedure import Walk
from companion.turns import load_dialogs

PROFILES = sorted(all_equipment())


@pytest.fixture(scope="module")
def library():
    return load_dialogs(folder("dialogs")).library


@pytest.mark.parametrize("profile", PROFILES)
def test_equipment_is_that_of_its_profile(profile, library):
    """Same terminals, same coils by name, so that names mean the same in both rooms."""
    theirs = {c.terminal: [coil.name for coil in c.coils]
              for c in library.profiles[profile].circuits if c.sweep}  # fmt: skip
    ours = {c.terminal: [c.load.name] for c in all_equipment()[profile].circuits}
    assert ours == theirs


@pytest.mark.parametrize("profile", PROFILES)
def test_a_chooser_takes_each_candidate_once(profile, library):
    choose = chooser_for(profile)
    candidates = [c.terminal for c in library.profiles[profile].circuits if c.sweep]
    found: dict[str, str] = {}
    while (name := choose(candidates, found)) is not None:
        assert name in candidates
        assert name not in found
        found[name] = "fits"
    assert set(found) == set(candidates)


def test_ohms_begin_where_the_short_is_likeliest():
    assert chooser_for("cooling-gas-furnace")(["G", "Y", "W"], {}) == "Y"


def test_an_energized_sweep_keeps_the_burner_last():
    choose = chooser_for("cooling-gas-furnace")
    assert choose(["G", "Y", "W"], {"G": "dark"}) == "Y"
    assert choose(["G", "Y", "W"], {"G": "holds", "Y": "holds"}) == "W"


def test_a_walk_takes_both(library):
    walk = Walk(library, judge_for("cooling-gas-furnace"), chooser_for("cooling-gas-furnace"))
    assert walk.begin("cooling-gas-furnace")


@pytest.mark.parametrize(("ohms", "said"), [(0.4, "short"), (1.2, "short"), (4.0, "low"),
                                            (13.0, "fits"), (None, "open")])  # fmt: skip
def test_a_judge_by_network(ohms, said):
    reading = Reading(quantity="resistance", value_si=ohms, over_limit=ohms is None, at="Y")
    judged = judge_for("cooling-gas-furnace")("terminal_ohms", reading, Known(ohms=(8.0, 20.0)))
    assert judged == said
    assert judged in VERDICTS["terminal_ohms"]


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


GOOD = (folder("dialogs") / "circuit" / "equipment" / "cooling_gas_furnace.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ('family = "relay"', 'family = "teapot"', "circuits.0.load.family"),
        ("fuse_ampere = 3.0", "fuse_ampere = -3.0", "fuse_ampere"),
        ("length_ft = [20.0, 80.0]", "length_ft = [80.0, 20.0]", "cables.thermostat.length_ft"),
        ('cable = "outdoor"', 'cable = "roof"', "(whole file)"),
        ('terminal = "G"', 'terminal = "R"', "(whole file)"),
        ("transformer_va = 40.0", "transformer_kva = 40.0", "transformer_va"),
    ],
)
def test_a_bad_equipment_file_names_file_and_key(tmp_path, old, new, key):
    assert old in GOOD
    path = tmp_path / "house.toml"
    path.write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DataFileError) as error:
        read_equipment(path)
    assert error.value.file == str(path)
    assert error.value.key == key


def test_every_data_file_says_where_its_numbers_are_from():
    for path in sorted((folder("dialogs") / "circuit").rglob("*.toml")):
        sources = re.findall(r"^\w*source = \"(.+)\"", path.read_text("utf-8"), re.MULTILINE)
        assert sources, path
        for said in sources:
            known = ("judgement", "memory", "common practice", "published", "IEC", "ASTM", "NEC",
                     "ISO", "typical", "field guides")  # fmt: skip
            assert any(word in said for word in known), (path, said)


def test_the_benchmark_is_the_same_twice_and_finds_faults():
    runs = benchmark.hunts("cooling-gas-furnace", 12, 3, 0.02)
    assert runs == benchmark.hunts("cooling-gas-furnace", 12, 3, 0.02)
    spent = {name: sum(run.minutes for run in of) for name, of in runs.items()}
    assert spent["gain per cost"] < 0.6 * spent["fixed sweep"]
    assert sum(run.wrong for run in runs["gain per cost"]) <= 2


def test_choosing_is_fast():
    """Bound loose enough for a busy machine; the benchmark measures."""
    rows, _, later = benchmark.milliseconds("cooling-gas-furnace", 60)
    assert rows >= 40
    assert later < 200.0


def test_an_unknown_profile_is_a_key_error():
    with pytest.raises(KeyError):
        open_case("steam engine")
