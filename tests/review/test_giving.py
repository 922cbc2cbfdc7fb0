"""Given away: in other forms, without persons and places, or behind a key."""

from __future__ import annotations

import csv
import io
import re
import shutil

import duckdb
import pytest
from hypothesis import given as property_of
from hypothesis import settings
from hypothesis import strategies as st

from companion import cli
from companion.datafiles import folder
from companion.errors import JournalError
from companion.journal import JOURNAL, Journal, locked, read
from companion.messages import Entry, Note, Remark, Spoken
from companion.review.facts import gather
from companion.review.giving import given
from companion.review.handing import markdown, value_rows, values_csv, work_order
from companion.review.redaction import known_words, redacted
from companion.understood import Reading, Utterance

PERSONAL = "Mr. Quillfeather of 1742 Larchmoor Lane, 555-0134, q@larchmoor.test"


@pytest.fixture
def calls(call, tmp_path):
    shutil.copytree(call, tmp_path / "monday")
    with Journal(tmp_path / "monday") as journal:
        journal.append([Note(text=PERSONAL), Remark(text="=cmd|' /C calc'!A0 " + PERSONAL, by="Q")])
    return tmp_path


def test_markdown_has_the_summary_the_values_and_every_word_said(call):
    text = markdown(read(call / JOURNAL).entries)
    assert text.startswith("# Repaired: contactor coil on Y\n")
    plain = text.replace("\\", "")
    for entry in read(call / JOURNAL).entries:
        if isinstance(entry.message, Utterance | Spoken):
            assert entry.message.text in plain


@settings(deadline=None)  # a shared machine may stall
@property_of(st.text())
def test_no_dictation_is_markup_in_markdown(text):
    entries = [Entry(seq=0, wall="2026-07-01T12:00:00", mono_s=0, message=Note(text=text))]
    (line,) = [li for li in markdown(entries).split("\n") if li.startswith("- 12:00:00")]
    said = line.removeprefix("- 12:00:00 ")
    for at, sign in enumerate(said):
        assert sign not in "`*_[]()#!|<>&~" or said[at - 1] == "\\"


def test_a_work_order_is_short_and_ascii(call):
    text = work_order(read(call / JOURNAL).entries)
    assert "FOUND:    Repaired: contactor coil on Y" in text
    assert re.search(r"recheck, Y: 1[12].*? ohm", " ".join(text.split()))
    assert text.isascii()
    assert len(text) < 1500
    assert all(len(line) <= 78 for line in text.splitlines())


def test_tables_hold_every_value_with_its_unit_in_si(calls):
    facts = gather(read(calls / "monday" / JOURNAL).entries)
    rows = list(csv.DictReader(io.StringIO(given(calls, "monday", "csv").decode())))
    assert len(rows) == len(facts.counted)
    (coil,) = [row for row in rows if (row["step"], row["about"]) == ("recheck", "Y")]
    assert (coil["quantity"], coil["verdict"]) == ("resistance", "fits")
    assert 8.0 < float(coil["value_si"]) < 20.0
    file = calls / "values.parquet"
    file.write_bytes(given(calls, None, "parquet", every=True))
    table = duckdb.connect().execute(f"SELECT sum(value_si), count(*) FROM '{file}'").fetchone()
    values = [c.value.value_si for c in facts.counted if isinstance(c.value, Reading)]
    assert table == (pytest.approx(sum(v for v in values if v is not None)), len(rows))


def test_no_cell_of_a_table_is_a_formula(call):
    facts = gather(read(call / JOURNAL).entries)
    rows = [{**row, "said": "=1+1", "about": "@x"} for row in value_rows("-1", facts)]
    for row in csv.reader(io.StringIO(values_csv(rows))):
        assert not any(cell[:1] in {"=", "+", "@"} for cell in row)


@pytest.mark.parametrize("form", ["markdown", "work-order", "csv"])
def test_what_is_redacted_names_nobody_and_no_place(calls, form):
    text = given(calls, "monday", form, redact=True).decode()
    whole = given(calls, "monday", "markdown").decode().replace("\\", "")
    for personal in ("Quillfeather", "1742", "Larchmoor", "555", "0134", "q@", "calc"):
        assert personal in whole
        assert personal not in text.replace("\\", "")
    assert "clip-" not in text
    assert "contactor coil" in text


def test_a_redacted_page_says_that_it_is_not_the_record(calls, capsys):
    before = (calls / "monday" / JOURNAL).read_bytes()
    assert cli.main(["review", "monday", "--calls", str(calls), "--redact"]) == 0
    page = (calls / "monday" / "review-redacted.html").read_text(encoding="utf-8")
    assert "This is not the record" in page
    assert "Seal of the record" not in page
    assert "data:audio" not in page
    for personal in ("Quillfeather", "1742", "Larchmoor"):
        assert personal not in page
    assert "contactor coil" in page
    assert (calls / "monday" / JOURNAL).read_bytes() == before


@settings(deadline=None)  # a shared machine may stall
@property_of(st.text(st.characters(categories=["L", "Nd", "P", "Z"])))
def test_of_free_speech_only_words_of_the_trade_stay(text):
    keep = {"nest", "coil"}
    note = Entry(seq=0, wall="", mono_s=0, message=Note(text=f"nest {text} coil", clip="a.flac"))
    (clean,) = redacted([note], keep)
    left = clean.message.text.replace("[…]", " ")
    left = "".join(sign if sign.isalnum() else " " for sign in left)
    assert set(left.casefold().split()) <= keep
    assert (clean.message.clip, clean.clip_sha256, clean.chain) == (None, None, "")


def test_a_family_name_that_is_a_word_of_the_trade_can_be_hidden(calls):
    assert "outdoor" in known_words(folder("dialogs"))
    text = given(calls, "monday", "markdown", redact=True, hide=["Outdoor"]).decode()
    assert "the outdoor unit" not in text


class TestLocked:
    def test_a_call_is_locked_for_a_key_and_comes_back_whole(self, calls, capsys):
        before = {p.name: p.read_bytes() for p in (calls / "monday").iterdir()}
        key = calls / "key"
        assert cli.main(["lock", "--new-key", str(key)]) == 0
        recipient = capsys.readouterr().out.strip()
        assert key.stat().st_mode & 0o077 == 0
        assert cli.main(["lock", "monday", "--calls", str(calls), "--for", recipient]) == 0
        file = calls / "monday.age"
        assert not (calls / "monday").exists()
        assert b"Quillfeather" not in file.read_bytes()
        assert cli.main(["unlock", str(file), "--key", str(key)]) == 0
        after = {p.name: p.read_bytes() for p in (calls / "monday").iterdir()}
        before.pop("call.lock", None)
        assert after == before
        assert cli.main(["verify", "monday", "--calls", str(calls)]) == 0

    def test_another_key_opens_nothing(self, calls):
        mine, other = calls / "mine", calls / "other"
        file = locked.lock(calls / "monday", [locked.new_key(mine)])
        locked.new_key(other)
        with pytest.raises(JournalError, match="can't be unlocked"):
            locked.unlock(file, other.read_text())
        assert not (calls / "monday").exists()

    def test_a_wrong_recipient_leaves_the_call_as_it_was(self, calls):
        before = (calls / "monday" / JOURNAL).read_bytes()
        with pytest.raises(JournalError):
            locked.lock(calls / "monday", ["age1nobody"])
        assert (calls / "monday" / JOURNAL).read_bytes() == before

    def test_a_passphrase_will_do(self, calls):
        file = locked.lock(calls / "monday", passphrase="five words and a coil")
        assert locked.unlock(file, passphrase="five words and a coil") == calls / "monday"
