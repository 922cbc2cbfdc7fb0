"""Whatever the disk does, no call is lost and none ends; the table counts the points tried."""

from __future__ import annotations

import signal
import subprocess
import sys
import tempfile
import textwrap

import pytest

from companion.journal import JOURNAL, Journal, read
from companion.messages import Concluded, Note, Trouble
from tests.journal.fault_table import cut_points, disk_points, killed_points, sector_points
from tests.journal.faulty import LINES, TRUTH, FaultyDisk, Quiet, talk, whole_call


@pytest.fixture(autouse=True)
def _passing(tmp_path_factory, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path_factory.mktemp("passing")))


def test_a_power_cut_at_a_sample_of_every_byte_of_a_whole_call(dialogs, tmp_path):
    points = cut_points(dialogs, tmp_path, stride=1501)
    assert points.tried > 30
    assert points.lost == []


def test_a_sector_of_the_last_entries_that_never_reached_the_disk(dialogs, tmp_path):
    points = sector_points(dialogs, tmp_path, stride=12)
    assert points.tried > 5
    assert points.lost == []


@pytest.mark.parametrize("fault", ["full", "read only", "not allowed", "sync"])
def test_a_disk_that_fails_once_for_a_while_or_for_good(dialogs, tmp_path, fault):
    points = disk_points(dialogs, tmp_path, fault, stride=61)
    assert points.tried > 4
    assert points.lost == []


def test_a_process_killed_in_the_middle_of_any_write(dialogs, tmp_path):
    points = disk_points(dialogs, tmp_path, "kill", stride=61)
    assert points.tried > 1
    assert points.lost == []


def test_a_real_call_killed_at_a_random_moment(dialogs, tmp_path):
    points = killed_points(dialogs, tmp_path, times=2)
    assert (points.tried, points.lost) == (2, [])


def test_trouble_is_told_once_and_its_end_too_and_both_are_on_record(dialogs, tmp_path):
    screen = Quiet()
    with Journal(tmp_path, disk=FaultyDisk("full", at=20, times=6)) as journal:
        assert talk(dialogs, journal, LINES, screen) == TRUTH
    assert screen.warnings == [
        "I can't save: the disk is full. I go on, and keep the record in memory.",
        "I can save again. Nothing of the record is lost.",
    ]
    past = read(tmp_path / JOURNAL)
    (trouble,) = [e.message for e in past.entries if isinstance(e.message, Trouble)]
    assert (trouble.cause, past.changed_at) == ("disk_full", None)
    said = [e.message.text for e in past.entries if e.message.kind == "spoken"]
    assert any(text.startswith("I can't save: the disk is full") for text in said)
    assert any("I can save again" in text for text in said)


def test_where_nothing_can_be_saved_the_record_goes_to_a_passing_place(dialogs, tmp_path):
    (tmp_path / "file").write_text("")
    folder = tmp_path / "file" / "call"
    with Journal(folder) as journal:
        assert talk(dialogs, journal, LINES) == TRUTH
        told = journal.settle()
    assert "Copy it to a safe place" in told[-1]
    kept = read(tmp_path.parent / tempfile.tempdir / "companion-unsaved" / "call" / JOURNAL)
    assert any(isinstance(entry.message, Concluded) for entry in kept.entries)


def test_a_file_that_the_system_lets_grow_no_further(tmp_path):
    """The real thing: the kernel refuses, half way through a line."""
    grows = textwrap.dedent(f"""
        import resource, sys
        from pathlib import Path
        from companion.journal import Journal
        from companion.messages import Note
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        with Journal(Path({str(tmp_path)!r})) as journal:
            resource.setrlimit(resource.RLIMIT_FSIZE, (5000, hard))
            for number in range(30):
                journal.append([Note(text=f"{{number}} " + "x" * 100)])
            print(journal.troubles())
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            journal.append([Note(text="on we go")])
            print(journal.troubles())
    """)
    done = subprocess.run(
        [sys.executable, "-c", grows], capture_output=True, text=True, check=True, timeout=20
    )
    assert "may not grow" in done.stdout
    assert "can save again" in done.stdout
    past = read(tmp_path / JOURNAL)
    notes = [e.message.text for e in past.entries if isinstance(e.message, Note)]
    assert [text.split()[0] for text in notes] == [*map(str, range(30)), "on"]
    assert past.changed_at is None


@pytest.mark.parametrize("after", [3, 40])
def test_killed_outright_everything_that_was_acted_on_is_there(tmp_path, after):
    writes = textwrap.dedent(f"""
        from pathlib import Path
        from companion.journal import Journal
        from companion.messages import Note
        with Journal(Path({str(tmp_path)!r})) as journal:
            for number in range(10**6):
                journal.append([Note(text=str(number))])
                print(number, flush=True)
    """)
    process = subprocess.Popen([sys.executable, "-c", writes], stdout=subprocess.PIPE, text=True)
    told = [process.stdout.readline() for _ in range(after)]
    process.send_signal(signal.SIGKILL)
    told += process.communicate()[0].splitlines()
    with Journal(tmp_path) as journal:
        kept = [int(entry.message.text) for entry in journal.past.entries]
    assert kept == list(range(len(kept)))
    assert len(told) <= len(kept) <= len(told) + 1


def test_another_record_that_came_to_lie_there_meanwhile_is_not_overwritten(tmp_path):
    disk = FaultyDisk("read only", at=1, times=8)
    with Journal(tmp_path / "call", disk=disk) as journal:
        (tmp_path / "call").mkdir()
        (tmp_path / "call" / JOURNAL).write_bytes(b"somebody else's\n")
        for _ in range(12):
            journal.append([Note(text="ours")])
        assert (tmp_path / "call" / JOURNAL).read_bytes() == b"somebody else's\n"
        assert "whole record is in" in journal.settle()[-1]


def test_a_torn_end_is_said_when_the_call_goes_on(dialogs, tmp_path):
    data = whole_call(dialogs, tmp_path)
    (tmp_path / JOURNAL).write_bytes(data[: len(data) // 2])
    screen = Quiet()
    with Journal(tmp_path) as journal:
        assert journal.dropped_bytes
        talk(dialogs, journal, (), screen)
    assert screen.warnings == ["The record was torn at its end. The last words may be lost."]
    after = [entry.message for entry in read(tmp_path / JOURNAL).entries]
    assert after[-1].text.startswith("The record was torn at its end.")
