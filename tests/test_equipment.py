"""Equipment files: each loads, hangs together, and gives a network and hypotheses."""

import pytest

from companion.circuit.coils import NO_SUCH_PART
from companion.datafiles import folder, load
from companion.diagnosis.battery import battery
from companion.diagnosis.hypotheses import hypotheses
from companion.diagnosis.layout import Layout
from companion.diagnosis.tables import effort, priors
from companion.equipment import Equipment, all_equipment, read_all
from companion.errors import DataFileError
from companion.fitting import accessories, fit, from_terminals, landable
from companion.understanding import load_vocabulary

LANDED = [("R", "C", "Y", "G", "W"), ("R", "C", "Y1", "Y2", "G", "W1", "W2"),
          ("R", "C", "Y", "O", "G", "E", "L"), ("Rc", "Rh", "W", "B", "HUM", "DH")]  # fmt: skip
KINDS = {
    **all_equipment(),
    **{f"{name} with {extra}": fit(equipment, extra)
       for name, equipment in all_equipment().items() for extra in accessories()},
    **{"-".join(landed): from_terminals(landed) for landed in LANDED},
}  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("complaint", ["opens", "nothing"])
def test_a_network_and_hypotheses_can_be_built(name, complaint):
    layout = Layout(KINDS[name])
    rows = hypotheses(layout, priors(), complaint)
    assert sum(h.weight for h in rows) == pytest.approx(1.0)
    assert len({h.name for h in rows}) == len(rows)
    for row in rows:
        for change in row.changes:
            ends = change.at if isinstance(change.at, tuple) else layout.elements[change.at]
            assert set(ends) <= set(layout.nodes), row.name
    tests = battery(layout, effort(), complaint)
    assert len({t.name for t in tests}) == len(tests)
    for test in tests:
        assert set(test.at) <= {*layout.nodes, ""}, test.name
        assert test.setup.lifted <= set(layout.elements), test.name
        assert effort().at(test.where)


@pytest.mark.parametrize("name", KINDS)
def test_what_a_terminal_should_read(name):
    """The load beside the board's own input, never above it, and OL only beyond it."""
    for circuit in KINDS[name].circuits:
        least, most = circuit.ohms
        assert 0.0 < least <= circuit.load.ohms[0]
        assert least < most < NO_SUCH_PART * 5000.0 + 1.0
        assert circuit.ohms_source
        assert [coil.name for coil in circuit.coils] in ([circuit.load.name], [])
    assert not KINDS[name].circuit("R").sweep


@pytest.mark.parametrize("name", all_equipment())
def test_what_is_said_is_in_the_vocabulary(name):
    equipment, words = all_equipment()[name], load_vocabulary(folder("dialogs"))
    assert equipment.answer in words.answers
    said = [word for circuit in equipment.circuits for word in circuit.said]
    assert len(said) == len(set(said))
    assert all(c.said or c.terminal in words.terminals for c in equipment.circuits)


def test_a_float_switch_breaks_cooling_or_r():
    house = all_equipment()["cooling-gas-furnace"]
    assert fit(house, "float-switch").fed("Y").joints[0].name == "condensate switch"
    on_r = fit(house, "float-switch", breaks="R")
    assert on_r.r_side.joints[0].name == "condensate switch"
    assert on_r.fed("Y") == house.fed("Y")


def test_what_can_not_be_fitted_is_refused():
    house = all_equipment()["cooling-gas-furnace"]
    with pytest.raises(KeyError):
        fit(house, "teapot")
    with pytest.raises(ValueError, match="taken"):
        fit(house, "humidifier", "humidifier")


def test_landed_terminals_make_equipment():
    house = from_terminals(("R", "C", "Y1", "Y2", "G", "W1"))
    assert {c.terminal for c in house.circuits} == {"Y1", "Y2", "G", "W1"}
    assert house.fed("Y1").load.where == "outdoor"
    assert set(landable()) >= {"G", "Y", "W", "O", "B", "DH"}
    assert "outdoor" not in from_terminals(("R", "C", "G", "W")).cables


@pytest.mark.parametrize("landed", [("R", "C", "X"), ("R", "C"), ("Y", "Y1"), ("O", "B")])
def test_what_can_not_be_landed_is_refused(landed):
    with pytest.raises((KeyError, ValueError)):
        from_terminals(landed)


GOOD = (folder("dialogs") / "equipment" / "cooling_gas_furnace.toml").read_text("utf-8")


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
        load(path, Equipment)
    assert error.value.file == str(path)
    assert error.value.key == key


def test_an_id_is_used_once(tmp_path):
    (tmp_path / "equipment").mkdir()
    for name in ("one", "two"):
        (tmp_path / "equipment" / f"{name}.toml").write_text(GOOD, encoding="utf-8")
    with pytest.raises(DataFileError) as error:
        read_all(tmp_path)
    assert error.value.key == "id"
