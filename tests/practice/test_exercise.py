"""Practice calls: what an apprentice says and does, what is unsafe, and how it is told."""

from __future__ import annotations

import pytest

from companion.cli import main
from companion.datafiles import folder
from companion.equipment import all_equipment
from companion.errors import JournalError
from companion.hearing.model_files import words
from companion.practice.best import best_sequence
from companion.practice.debrief import best_for, cost, debrief, worth
from companion.practice.exercise import Exercise
from companion.practice.moves import Move, Moves
from companion.practice.progress import Progress, deal, house_of, kinds, load_progress
from companion.understanding import load_vocabulary

FURNACE = all_equipment()["cooling-gas-furnace"]
VOCABULARY = load_vocabulary(folder("dialogs"))
DEAD = ("power off", "meter proven", "leads on R and C volts", "fuse out", "base off")


def moves(equipment=FURNACE) -> Moves:
    return Moves(equipment, VOCABULARY.terminals, VOCABULARY.tokens)


class At:
    """An apprentice at a house with a fault."""

    def __init__(self, fault="Y: contactor coil, dead coil", complaint="opens"):
        self.exercise = Exercise(house_of(FURNACE, complaint, fault, 1))
        self.moves = moves()

    def say(self, *lines: str) -> str:
        """Say moves one by one; the answer to the last."""
        for line in lines:
            said = self.exercise.take(self.moves.meant(line))
        return " ".join(said)

    @property
    def rules(self) -> set[str]:
        return {breach.rule for breach in self.exercise.broken}


@pytest.mark.parametrize(
    ("line", "move"),
    [
        ("leads on Y and C, ohms", Move("leads", ("Y", "C"), "ohms")),
        ("leads on yankee and common ohms", None),
        ("leads on C and Y ohms", Move("leads", ("Y", "C"), "ohms")),
        ("uh leads on R and C volts", Move("leads", ("R", "C"), "volts")),
        ("leads on W and chassis ohms", Move("leads", ("W", "GND"), "ohms")),
        ("jumper on Y", Move("jumper", ("Y",))),
        ("please stop now", Move("stop")),
        ("outdoor wire off Y", Move("lift", ("outdoor.Y.near",))),
        ("replace the contactor coil", Move("repair", ("contactor coil",))),
        ("leads on Y", None),
    ],
)
def test_what_is_said_is_done(line, move):
    assert moves().meant(line) == move


@pytest.mark.parametrize("equipment", all_equipment().values(), ids=lambda e: e.id)
def test_every_move_can_be_heard(equipment):
    """Hands-free: the shipped model knows the words of all moves, but for one kind of part."""
    known = words(folder("models") / "field-en")
    said = {word for phrase in moves(equipment).phrases for word in phrase.split()}
    assert said - known <= {"solenoid"}


def test_ohms_come_only_after_power_off_meter_proven_and_zero_volts():
    at = At()
    assert "Unsafe" in at.say("leads on Y and C ohms")
    assert "Unsafe" in at.say("power off", "leads on Y and C ohms")
    assert "Unsafe" in at.say("meter proven", "leads on Y and C ohms")
    assert at.say("leads on R and C volts") == "0 V. Dead."
    assert "Ω" in at.say("leads on Y and C ohms")
    assert at.rules == {"ohms on a live circuit", "dead, but not proven dead"}


def test_power_on_ends_what_was_proven():
    at = At()
    at.say(*DEAD, "power on", "power off")
    assert "Unsafe" in at.say("leads on Y and C ohms")


def test_r_to_c_is_never_jumped():
    at = At()
    at.say("power on", "all clear")
    assert "Never jump it" in at.say("jumper on C")
    assert at.exercise.house.fuses_burnt == 0


def test_a_call_on_a_short_with_a_fuse_is_explained_and_not_done():
    at = At()
    at.say(*DEAD, "fuse in", "power on", "all clear")
    assert "a fuse risked" in at.say("jumper on Y")
    assert at.exercise.house.fuses_burnt == 0


def test_with_a_breaker_the_same_call_trips():
    at = At()
    at.say(*DEAD, "breaker in", "power on", "all clear")
    assert at.say("jumper on Y") == "It trips."
    assert at.rules == set()


def test_outdoors_the_capacitor_comes_first():
    at = At()
    assert "capacitor" in at.say(*DEAD, "test contactor coil")
    assert "Ω" in at.say("capacitor safe", "test contactor coil")


def test_stop_takes_power_off_and_asks_for_proof_again():
    at = At()
    at.say("stop")
    assert not at.exercise.house.powered
    assert "Unsafe" in at.say("leads on Y and C ohms")


def test_a_hint_is_the_reasoners_own_next_test_and_can_be_done():
    at = At()
    at.say(*DEAD, "leads together")
    hint = at.say("hint")
    assert hint == best_for(at.exercise)[0].say
    assert at.say("why") not in {"", hint}
    at.say("do that")
    assert [step.say for step in at.exercise.done] == [hint]


def test_the_debrief_holds_the_apprentice_against_the_best_sequence():
    at = At()
    at.say(*DEAD, "leads together", *(f"leads on {t} and C ohms" for t in "GWYR"))
    at.say("capacitor safe", "test contactor coil", "repair contactor coil")
    told = debrief(at.exercise)
    assert at.exercise.right
    own, least = at.exercise.house.minutes, sum(s.minutes for s in best_for(at.exercise))
    assert f"{own:.0f} minutes" in told[0]
    assert f"{least:.0f} minutes" in told[1]
    assert "No safety rule broken." in told


def test_naming_a_sound_part_is_told_so_and_costs():
    at = At()
    assert "is sound" in at.say(*DEAD, "repair thermostat")
    assert at.exercise.over
    assert not at.exercise.right
    own, least = at.exercise.house.minutes, sum(s.minutes for s in best_for(at.exercise))
    saved = worth().sound_part - cost(least - own)
    assert f"Money to be saved: {saved:.0f} {worth().money}." in debrief(at.exercise)


def test_the_best_sequence_leaves_the_house_as_it_was():
    at = At()
    before = at.exercise.house.minutes
    assert best_sequence(at.exercise.house, at.exercise.allowed())
    assert at.exercise.house.minutes == before


# ── Progress ─────────────────────────────────────────────────────────────────


def test_what_was_missed_comes_back_next_and_what_was_found_later():
    """Leitner 1972: back to the first box, or up one."""
    progress = Progress().after("opens: switch, chassis", well=False, breaches={}, to_save=3.0)
    progress = progress.after("opens: splice, short", well=True, breaches={}, to_save=0.0)
    assert progress.boxes["opens: splice, short"].box == 1
    assert progress.due("opens: switch, chassis")
    assert not progress.due("opens: splice, short")
    kind, house = deal(FURNACE, progress, "fair", "opens")
    assert kind == "opens: switch, chassis"
    assert house.hidden.kinds == {"chassis"}
    for _ in range(5):
        progress = progress.after(kind, well=True, breaches={}, to_save=0.0)
    assert progress.boxes[kind].box == 5
    assert not progress.due(kind)


def test_a_box_comes_up_after_twice_as_many_sessions_as_the_one_before():
    progress = Progress()
    for _ in range(3):
        progress = progress.after("weak", well=True, breaches={}, to_save=0.0)
    waited = 0
    while not progress.due("weak"):
        progress = progress.after(f"other {waited}", well=True, breaches={}, to_save=0.0)
        waited += 1
    assert waited == 4


def test_what_was_never_met_is_dealt_before_what_is_known():
    everything = kinds(FURNACE, "opens", "easy")
    progress = Progress()
    met = set()
    for _ in everything:
        kind, _ = deal(FURNACE, progress, "easy")
        met.add(kind)
        progress = progress.after(kind, well=True, breaches={}, to_save=0.0)
        progress = progress.model_copy(update={"sessions": 0})
    assert met == set(everything)


def test_difficulty_widens_what_can_be_wrong():
    easy, fair, hard = (
        {name for names in kinds(FURNACE, "opens", level).values() for name in names}
        for level in ("easy", "fair", "hard")
    )
    assert easy < fair < hard
    assert any(name.endswith("comes and goes") for name in hard)
    assert any(" + " in name for name in hard)


def test_a_file_that_is_no_progress_is_left_alone(tmp_path):
    path = tmp_path / "kit.json"
    path.write_text("{}x")
    with pytest.raises(JournalError):
        load_progress(path)
    assert path.read_text() == "{}x"


def test_the_command_runs_an_exercise_and_keeps_progress(tmp_path, monkeypatch, capsys):
    lines = [*DEAD, "leads together", "leads on Y and C ohms", "capacitor safe",
             "test contactor coil", "repair contactor coil"]  # fmt: skip
    monkeypatch.setattr("sys.stdin", iter(f"{line}\n" for line in lines))
    monkeypatch.setattr("companion.practising._is_terminal", lambda: False)
    fault = "Y: contactor coil, dead coil"
    status = main(["practice", "--typed", "--mute", "--kept", str(tmp_path), "--fault", fault])
    told = capsys.readouterr().out
    assert status == 0
    assert "Right: the contactor coil." in told
    assert load_progress(tmp_path / "apprentice.json").sessions == 1
