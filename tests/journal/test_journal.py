"""The record: on disk before anything is acted on, and readable whatever a crash leaves."""

from __future__ import annotations

import subprocess
import sys
import textwrap

import pytest

from companion.errors import CallInUse, JournalError
from companion.journal import JOURNAL, Journal, read
from companion.messages import Note, Spoken

MESSAGES = [Note(text="wasp nest – grüße\n"), Spoken(text="Twelve ohms."), Note(text="Ω" * 40)]


def written(folder) -> bytes:
    with Journal(folder) as journal:
        journal.append(MESSAGES)
    return (folder / JOURNAL).read_bytes()


def test_what_is_appended_is_on_disk_before_append_returns(tmp_path):
    with Journal(tmp_path) as journal:
        for number, message in enumerate(MESSAGES):
            journal.append([message])
            on_disk = read(tmp_path / JOURNAL).entries
            assert [entry.message for entry in on_disk] == MESSAGES[: number + 1]
            assert [entry.seq for entry in on_disk] == list(range(number + 1))


def test_cut_at_every_byte_loses_at_most_the_torn_line(tmp_path):
    data = written(tmp_path)
    ends = [index + 1 for index, byte in enumerate(data) if byte == ord("\n")]
    for cut in range(len(data) + 1):
        folder = tmp_path / f"cut-{cut}"
        folder.mkdir()
        (folder / JOURNAL).write_bytes(data[:cut])
        whole = [end for end in ends if end <= cut]
        with Journal(folder) as journal:
            assert [entry.message for entry in journal.past.entries] == MESSAGES[: len(whole)]
            assert journal.dropped_bytes == cut - (whole[-1] if whole else 0)
            journal.append([Note(text="on we go")])
        after = read(folder / JOURNAL)
        assert after.torn_bytes == 0
        assert after.entries[-1].message == Note(text="on we go")


def test_damage_before_the_end_is_named_and_left_alone(tmp_path):
    data = written(tmp_path)
    first = data.index(b"\n") + 1
    (tmp_path / JOURNAL).write_bytes(b"{nonsense}\n" + data[first:])
    with pytest.raises(JournalError, match="line 1"):
        Journal(tmp_path)
    (tmp_path / JOURNAL).write_bytes(data[first:])  # a line is gone
    with pytest.raises(JournalError, match="has number 1, expected 0"):
        Journal(tmp_path)


def test_two_processes_cannot_write_one_call(tmp_path):
    other = textwrap.dedent(f"""
        from pathlib import Path
        from companion.journal import Journal
        journal = Journal(Path({str(tmp_path)!r}))
        print("open", flush=True)
        input()
    """)
    holder = subprocess.Popen(
        [sys.executable, "-c", other], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        assert holder.stdout.readline() == "open\n"
        with pytest.raises(CallInUse):
            Journal(tmp_path)
        holder.kill()  # as a crash would: the lock must not outlive it
        holder.wait()
        Journal(tmp_path).close()
    finally:
        holder.kill()
        holder.communicate()


def test_a_disk_that_is_full_is_said_so(tmp_path):
    with Journal(tmp_path) as journal:
        journal._file.close()
        journal._file = open("/dev/full", "ab")  # noqa: SIM115
        with pytest.raises(JournalError, match="can't be written"):
            journal.append(MESSAGES)
        journal._file = open("/dev/null", "ab")  # noqa: SIM115


def test_a_folder_that_cannot_be_made_is_said_so(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(JournalError, match="can't be written"):
        Journal(tmp_path / "file" / "call")
