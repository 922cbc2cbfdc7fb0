"""Put right afterwards: appended, counted, and never over what was heard."""

from __future__ import annotations

import csv
import io
import json
import shutil

import jsonschema
import pytest

from companion import cli
from companion.errors import JournalError
from companion.journal import JOURNAL, read
from companion.journal.afterwards import append
from companion.journal.schema import schema_text
from companion.messages import WordCorrected
from companion.understood import Utterance


@pytest.fixture
def calls(call, tmp_path):
    """Two calls in which the same was said, and said to companion commands as --calls."""
    for name in ("monday", "tuesday"):
        shutil.copytree(call, tmp_path / name)
    return tmp_path


def run(calls, capsys, *arguments: str) -> tuple[int, str, str]:
    status = cli.main([*arguments, "--calls", str(calls)])
    out, err = capsys.readouterr()
    return status, out, err


def line_of(call, text: str) -> int:
    entries = read(call / JOURNAL).entries
    return next(
        e.seq for e in entries if isinstance(e.message, Utterance) and e.message.text == text
    )


def test_words_put_right_make_a_table_of_misheard_words(calls, capsys):
    line = str(line_of(calls / "monday", "no point eight"))
    for call, meant in (("monday", "a"), ("monday", "eighty"), ("tuesday", "eighty")):
        arguments = ("correct", call, "--line", line, "--word", "3", "--meant", meant, "--by", "R")
        assert run(calls, capsys, *arguments)[0] == 0
    status, out, _ = run(calls, capsys, "misheard")
    assert status == 0
    (row,) = csv.DictReader(io.StringIO(out))  # put right twice, the last word counts
    heard = sum(
        e.message.text.split().count("eight")
        for name in ("monday", "tuesday")
        for e in read(calls / name / JOURNAL).entries
        if isinstance(e.message, Utterance)
    )
    assert row == {
        "heard": "eight", "meant": "eighty", "times": "2", "heard_in_all": str(heard),
        "share": f"{2 / heard:.3f}", "mean_confidence": "0.72", "calls": "2",
    }  # fmt: skip


def test_a_corrected_record_still_verifies_and_keeps_what_was_heard(calls, capsys):
    before = (calls / "monday" / JOURNAL).read_bytes()
    assert run(calls, capsys, "correct", "monday", "--remark", "Customer was told.")[0] == 0
    assert (calls / "monday" / JOURNAL).read_bytes().startswith(before)
    status, out, _ = run(calls, capsys, "verify", "monday")
    assert (status, "as they were kept" in out) == (0, True)
    seal = read(calls / "tuesday" / JOURNAL).seal  # as printed on a page before the remark
    assert run(calls, capsys, "verify", "monday", "--seal", seal)[0] == 0
    assert run(calls, capsys, "verify", "monday", "--seal", "0" * 64)[0] == 1
    (calls / "monday" / JOURNAL).write_bytes(before.replace(b"point nine", b"point fine", 1))
    status, out, _ = run(calls, capsys, "verify", "monday")
    assert (status, "changed after it was kept" in out) == (1, True)


@pytest.mark.parametrize(
    ("line", "word", "heard"), [(2, 0, "site"), (5, 9, "site"), (5, 0, "nonsense"), (9999, 0, "x")]
)
def test_a_correction_of_what_was_not_heard_there_is_refused(calls, line, word, heard):
    wrong = WordCorrected(about=line, word=word, heard=heard, meant="y")
    before = (calls / "monday" / JOURNAL).read_bytes()
    with pytest.raises(JournalError):
        append(calls / "monday", [wrong])
    assert (calls / "monday" / JOURNAL).read_bytes() == before


def test_a_file_of_something_else_is_refused(calls, capsys, tmp_path):
    (tmp_path / "file").write_text('{"kind": "spoken", "text": "x"}\n')
    status, _, err = run(calls, capsys, "correct", "monday", "--from", str(tmp_path / "file"))
    assert status == 8
    assert "no correction" in err


def test_calls_are_listed_and_found_by_what_was_said(calls, capsys):
    assert len(run(calls, capsys, "calls")[1].splitlines()) == 2
    run(calls, capsys, "correct", "monday", "--remark", "Behind the Heron sign.")
    assert run(calls, capsys, "calls", "heron", "contactor")[1].startswith("monday")
    assert run(calls, capsys, "calls", "submarine")[1] == ""
    (calls / "tuesday" / JOURNAL).write_bytes(b"{}\n{}\n")
    _, out, err = run(calls, capsys, "calls")
    assert (out.count("\n"), "tuesday" in err) == (1, True)


def test_the_review_command_writes_the_page_and_names_it(calls, capsys):
    status, out, _ = run(calls, capsys, "review", "tues", "--sound", "none")
    assert status == 0
    page = calls / "tuesday" / "review.html"
    assert out.strip() == str(page)
    assert "contactor coil" in page.read_text(encoding="utf-8")
    assert run(calls, capsys, "review", "nosuch")[0] == 8


def test_every_line_of_a_journal_follows_the_published_schema(calls, capsys):
    assert cli.main(["schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    assert schema == json.loads(schema_text())
    checker = jsonschema.Draft202012Validator(schema)
    lines = (calls / "monday" / JOURNAL).read_text(encoding="utf-8").splitlines()
    for line in lines:
        checker.validate(json.loads(line))
    assert not checker.is_valid({**json.loads(lines[0]), "mood": "cheerful"})
