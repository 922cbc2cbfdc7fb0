"""Calls, redacted or not, in a form for others."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal

from companion.datafiles import folder as shipped
from companion.errors import JournalError
from companion.journal import JOURNAL, read
from companion.messages import Entry
from companion.review.facts import gather
from companion.review.handing import COLUMNS, markdown, value_rows, values_csv, work_order
from companion.review.redaction import known_words, redacted
from companion.review.shelf import find

Form = Literal["markdown", "work-order", "csv", "parquet"]
_TYPES = {
    "line": "INTEGER", "value_si": "DOUBLE", "confidence": "DOUBLE", "over_limit": "BOOLEAN",
    "taken_back": "BOOLEAN",
}  # fmt: skip


def given(
    calls: Path,
    name: str | None,
    form: Form,
    *,
    every: bool = False,
    redact: bool = False,
    hide: Sequence[str] = (),
) -> bytes:
    """One call, or with ``every`` all of a folder.

    Raises:
        JournalError: there is no such call, or what makes Parquet is not installed.
    """
    folders = (
        [p.parent for p in sorted(calls.glob(f"*/{JOURNAL}"))] if every else [find(calls, name)]
    )
    keep = known_words(shipped("dialogs")) if redact else frozenset()

    def entries(folder: Path) -> Sequence[Entry]:
        whole = read(folder / JOURNAL).entries
        return redacted(whole, keep, hide) if redact else whole

    if form == "markdown":
        return "\n".join(markdown(entries(folder)) for folder in folders).encode()
    if form == "work-order":
        return "\n".join(work_order(entries(folder)) for folder in folders).encode()
    rows = (row for f in folders for row in value_rows(f.name, gather(entries(f))))
    return values_csv(rows).encode() if form == "csv" else _parquet(rows)


def _parquet(rows: Iterator[dict[str, object]]) -> bytes:
    try:
        import duckdb
    except ImportError as error:
        raise JournalError(
            "Parquet needs duckdb, which is not installed.",
            safe="The record is as it was.", do="Install companion[record].",
        ) from error  # fmt: skip
    columns = {name: _TYPES.get(name, "VARCHAR") for name in COLUMNS}
    with tempfile.TemporaryDirectory() as passing:
        lines, out = Path(passing) / "rows.jsonl", Path(passing) / "rows.parquet"
        with lines.open("w", encoding="utf-8") as file:
            file.writelines(json.dumps(row, ensure_ascii=False) + "\n" for row in rows)
        duckdb.connect().execute(
            "COPY (FROM read_json($lines, format='newline_delimited', columns=$columns)) "
            f"TO '{out}' (FORMAT parquet)",
            {"lines": str(lines), "columns": columns},
        )
        return out.read_bytes()
