"""The record: on disk before anything is acted on, and readable whatever a crash leaves."""

from __future__ import annotations

import json
import subprocess
import sys
import textwrap
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from companion.errors import CallInUse, JournalError
from companion.journal import JOURNAL, TORN, Journal, altered_clips, read
from companion.messages import Consent, Note, Spoken, Trouble, Upgraded
from companion.understood import Utterance

MESSAGES = [Note(text="wasp nest – grüße\n"), Spoken(text="Twelve ohms."), Note(text="Ω" * 40)]
OLD = Path(__file__).parent / "schema_1.jsonl"


def written(folder) -> bytes:
    with Journal(folder) as journal:
        journal.append(MESSAGES)
    return (folder / JOURNAL).read_bytes()


def tone(path: Path) -> Path:
    soundfile.write(path, np.sin(np.arange(8000) / 5).astype(np.float32) / 2, 16000)
    return path


def test_what_is_appended_is_on_disk_before_append_returns(tmp_path):
    with Journal(tmp_path) as journal:
        for number, message in enumerate(MESSAGES):
            journal.append([message])
            on_disk = read(tmp_path / JOURNAL).entries
            assert [entry.message for entry in on_disk] == MESSAGES[: number + 1]
            assert [entry.seq for entry in on_disk] == list(range(number + 1))


def test_cut_at_every_byte_loses_at_most_the_torn_line_and_keeps_what_is_left_of_it(tmp_path):
    data = written(tmp_path)
    ends = [index + 1 for index, byte in enumerate(data) if byte == ord("\n")]
    for cut in range(len(data) + 1):
        folder = tmp_path / f"cut-{cut}"
        folder.mkdir()
        (folder / JOURNAL).write_bytes(data[:cut])
        whole = [end for end in ends if end <= cut]
        torn = data[whole[-1] if whole else 0 : cut]
        with Journal(folder) as journal:
            assert [entry.message for entry in journal.past.entries] == MESSAGES[: len(whole)]
            assert journal.dropped_bytes == len(torn)
            assert bool(torn) == any("torn" in told for told in journal.troubles())
            journal.append([Note(text="on we go")])
        after = read(folder / JOURNAL)
        assert (after.torn, after.changed_at) == (b"", None)
        assert after.entries[-1].message == Note(text="on we go")
        assert not torn or (folder / TORN).read_bytes() == torn + b"\n"


def test_a_block_that_never_reached_the_disk_is_a_torn_end(tmp_path):
    data = written(tmp_path)
    second = data.index(b"\n") + 1
    hole = data[:second] + bytes(40) + data[second + 40 :]
    (tmp_path / JOURNAL).write_bytes(hole)
    with Journal(tmp_path) as journal:
        assert [entry.message for entry in journal.past.entries] == MESSAGES[:1]
        journal.append([Note(text="on we go")])
    assert len(read(tmp_path / JOURNAL).entries) == 2


def test_damage_before_the_end_is_named_and_left_alone(tmp_path):
    data = written(tmp_path)
    first = data.index(b"\n") + 1
    (tmp_path / JOURNAL).write_bytes(b"{nonsense}\n" + data[first:])
    with pytest.raises(JournalError, match="line 1"):
        Journal(tmp_path)
    (tmp_path / JOURNAL).write_bytes(data[first:])  # a line is gone
    with pytest.raises(JournalError, match="has number 1, expected 0"):
        Journal(tmp_path)


def test_a_later_edit_of_any_letter_shows(tmp_path):
    data = written(tmp_path)
    for at in range(0, len(data), 3):
        edited = data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]
        (tmp_path / JOURNAL).write_bytes(edited)
        try:
            past = read(tmp_path / JOURNAL)
        except JournalError:
            continue
        assert past.changed_at is not None or past.torn, data[at - 10 : at + 10]
        if not past.torn:
            with pytest.raises(JournalError, match="was changed at line"):
                Journal(tmp_path)


def test_a_clip_that_was_exchanged_shows(tmp_path):
    tone(tmp_path / "utterance-0001.flac")
    with Journal(tmp_path) as journal:
        journal.append([Utterance(text="hm", source="wav", clip="utterance-0001.flac")])
    entries = read(tmp_path / JOURNAL).entries
    assert altered_clips(tmp_path, entries) == []
    soundfile.write(tmp_path / "utterance-0001.flac", np.zeros(8000), 16000)
    assert altered_clips(tmp_path, entries) == ["utterance-0001.flac"]


def test_what_is_spoken_is_kept_smaller_and_without_loss(tmp_path):
    spoken = tone(tmp_path / "prompt-0001.wav")
    before, size = soundfile.read(spoken, dtype="int16")[0], spoken.stat().st_size
    with Journal(tmp_path) as journal:
        clip = journal.keep_sound(spoken)
        assert spoken.exists()  # it has still to be played
        journal.append([Spoken(text="Ohms.", clip=clip)])
    assert not spoken.exists()
    assert (soundfile.read(tmp_path / clip, dtype="int16")[0] == before).all()
    assert (tmp_path / clip).stat().st_size < size


def test_the_whole_call_is_kept_by_consent_only_and_utterances_until_refused(tmp_path):
    sound = np.ones(1600, np.int16)
    with Journal(tmp_path) as journal:
        journal.hear(sound, 16000)
        assert not list(tmp_path.glob("call-*.flac"))
        journal.append([Consent(covers="whole_call", given=True, said="you may record")])
        journal.hear(sound, 16000)
        journal.append([Consent(covers="whole_call", given=False)])
        journal.hear(sound, 16000)
        assert soundfile.info(tmp_path / "call-01.flac").frames == 1600
        journal.append([Consent(covers="utterances", given=False, said="don't keep my voice")])
        clip = tone(tmp_path / "utterance-0001.flac")
        journal.append([Utterance(text="hm", source="wav", clip=clip.name)])
        assert not clip.exists()
    last = read(tmp_path / JOURNAL).entries[-1]
    assert (last.message.text, last.message.clip) == ("hm", None)


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


class TestClocks:
    def times(self, folder, *walls: datetime):
        wall, steady = iter(walls), iter(range(1000))
        with Journal(folder, now=lambda: next(wall), mono=lambda: float(next(steady))) as journal:
            for _ in range(2):
                journal.append([Note(text="x")])
            return journal.troubles()

    def test_a_clock_set_back_is_told_and_the_order_kept(self, tmp_path):
        noon = datetime(2026, 7, 1, 12, tzinfo=UTC)
        told = self.times(tmp_path, noon, noon - timedelta(hours=3), noon - timedelta(hours=3))
        assert told == ["The clock jumped back by 3 hours. The order is kept."]
        entries = read(tmp_path / JOURNAL).entries
        assert [e.message.cause for e in entries if isinstance(e.message, Trouble)] == ["clock"]
        assert [e.mono_s for e in entries] == sorted(e.mono_s for e in entries)

    def test_a_clock_that_lost_its_battery_is_told(self, tmp_path):
        start = datetime(1970, 1, 1, tzinfo=UTC)
        later = [start + timedelta(seconds=n) for n in range(5)]
        assert self.times(tmp_path, *later) == [
            "The clock says 1970. Times in the record are wrong."
        ]

    def test_a_clock_that_moves_with_the_steady_one_is_not_spoken_of(self, tmp_path):
        noon = datetime(2026, 7, 1, 12, tzinfo=UTC)
        assert self.times(tmp_path, noon, noon + timedelta(seconds=1)) == []


class TestOlderSchema:
    def test_a_record_of_schema_1_is_read_and_gone_on_with(self, tmp_path):
        old = OLD.read_bytes()
        (tmp_path / JOURNAL).write_bytes(old)
        before = read(tmp_path / JOURNAL)
        assert (before.version, before.changed_at) == (1, None)
        assert len(before.entries) == old.count(b"\n")
        with Journal(tmp_path) as journal:
            journal.append([Note(text="on we go")])
        after = read(tmp_path / JOURNAL)
        assert after.whole.startswith(old)
        assert [e.message.kind for e in after.entries[-2:]] == ["upgraded", "note"]
        assert (after.version, after.changed_at) == (2, None)

    def test_an_edit_of_the_older_part_shows_from_then_on(self, tmp_path):
        (tmp_path / JOURNAL).write_bytes(OLD.read_bytes())
        Journal(tmp_path).close()
        data = (tmp_path / JOURNAL).read_bytes()
        (tmp_path / JOURNAL).write_bytes(data.replace(b"site clear", b"site clean", 1))
        past = read(tmp_path / JOURNAL)
        assert isinstance(past.entries[past.changed_at - 1].message, Upgraded)

    def test_a_newer_schema_is_left_to_the_program_that_knows_it(self, tmp_path):
        first = json.loads(OLD.read_text().splitlines()[0])
        first["message"] |= {"schema_version": 3, "weather": "hot"}
        (tmp_path / JOURNAL).write_text(json.dumps(first) + "\n{}\n")
        with pytest.raises(JournalError, match="schema 3"):
            Journal(tmp_path)


def test_threads_share_one_journal(tmp_path):
    with Journal(tmp_path) as journal, ThreadPoolExecutor(4) as pool:
        list(
            pool.map(lambda n: journal.append([Note(text=f"{n}-{i}") for i in range(3)]), range(40))
        )
    past = read(tmp_path / JOURNAL)
    texts = [entry.message.text for entry in past.entries]
    assert past.changed_at is None
    assert len(texts) == 120
    for at in range(0, 120, 3):  # what was appended together stands together
        assert [text.split("-")[1] for text in texts[at : at + 3]] == ["0", "1", "2"]


def test_a_clip_that_never_came_to_be_is_told_once_and_not_named(tmp_path):
    with Journal(tmp_path) as journal:
        for number in (1, 2):
            clip = f"utterance-000{number}.flac"
            journal.append([Utterance(text="sixty ohms", source="microphone", clip=clip)])
        assert journal.troubles() == ["I can't save the sound of what is said. I go on without."]
    entries = read(tmp_path / JOURNAL).entries
    assert [(e.message.text, e.message.clip) for e in entries] == [("sixty ohms", None)] * 2


def test_sound_that_cannot_be_kept_is_told_and_on_record(tmp_path):
    (tmp_path / "prompt-0001.wav").write_bytes(b"not a sound")
    with Journal(tmp_path) as journal:
        assert journal.keep_sound(tmp_path / "prompt-0001.wav") is None
        assert journal.troubles() == ["I can't save the sound of what I say."]
    assert [e.message.cause for e in read(tmp_path / JOURNAL).entries] == ["sound"]
