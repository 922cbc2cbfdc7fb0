"""Many calls as two tables, in DuckDB: the same queries for a folder, files, or an object store.

``lines`` has the columns ``call, seq, wall, message``; it is read from the journals in a
folder of calls, or from Parquet files anywhere that DuckDB reaches. ``calls`` has one row a
call. Made-up calls of the demo are left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from companion.errors import JournalError
from companion.journal import JOURNAL

_FROM_JOURNALS = """
CREATE OR REPLACE VIEW lines AS
SELECT parse_path(filename)[-2] AS call, seq, wall, message
FROM read_json($place, format = 'newline_delimited', filename = true, ignore_errors = true,
    maximum_object_size = 16777216,
    columns = {seq: 'INTEGER', wall: 'TIMESTAMPTZ', message: 'JSON'})
"""
_FROM_PARQUET = """
CREATE OR REPLACE VIEW lines AS
SELECT call, seq, wall, message::JSON AS message FROM read_parquet($place)
"""
_CALLS = """
CREATE OR REPLACE TABLE calls AS
WITH told AS (
    SELECT call, seq, wall, message, message->>'$.kind' AS kind FROM lines
    WHERE call NOT LIKE 'demo-%' AND message->>'$.kind' IN ('call_opened', 'taken', 'utterance',
        'not_understood', 'withdrawn', 'blocked', 'concluded', 'suspicion', 'spoken')
), ended AS (
    SELECT call, min(wall) AS begun, max(wall) AS over,
        max(message->>'$.profile') FILTER (kind = 'call_opened') AS profile,
        arg_max(message->>'$.value.name', seq)
            FILTER (kind = 'taken' AND message->>'$.step' = 'equipment') AS answer,
        arg_max(message->>'$.value.name', seq)
            FILTER (kind = 'taken' AND message->>'$.step' = 'complaint') AS complaint,
        arg_max(message->>'$.outcome', seq) FILTER (kind = 'concluded') AS outcome,
        arg_max(message->>'$.circuit', seq) FILTER (kind = 'concluded') AS circuit,
        arg_max(message->>'$.part', seq) FILTER (kind = 'concluded') AS part,
        coalesce(bool_or((message->>'$.proved')::BOOLEAN) FILTER (kind = 'concluded'), false)
            AS proved,
        arg_max(message->'$.suspects', seq) FILTER (kind = 'suspicion') AS suspects,
        count(*) FILTER (kind = 'utterance') AS said,
        count(*) FILTER (kind = 'not_understood') AS missed,
        count(*) FILTER (kind = 'taken') AS taken,
        count(*) FILTER (kind = 'withdrawn') AS taken_back,
        count(*) FILTER (kind = 'blocked') AS blocked
    FROM told GROUP BY call
)
SELECT call, begun, coalesce(ended.profile, answers.profile, answer, 'unknown') AS profile,
    CASE month(begun) WHEN 12 THEN 'winter' WHEN 1 THEN 'winter' WHEN 2 THEN 'winter'
        WHEN 3 THEN 'spring' WHEN 4 THEN 'spring' WHEN 5 THEN 'spring'
        WHEN 6 THEN 'summer' WHEN 7 THEN 'summer' WHEN 8 THEN 'summer' ELSE 'autumn' END AS season,
    CASE WHEN complaint LIKE '%nothing%' THEN 'nothing' ELSE 'opens' END AS complaint,
    outcome, circuit, part, proved,
    list_filter(
        from_json(suspects, '[{"part": "VARCHAR", "fault": "VARCHAR", "terminal": "VARCHAR"}]'),
        lambda s : s.part = ended.part AND coalesce(s.terminal = ended.circuit, true)
    )[1].fault AS fault,
    epoch(over - begun) / 60 AS minutes, said, missed, taken, taken_back, blocked
FROM ended LEFT JOIN answers USING (answer)
"""


def connect() -> Any:
    """A database in memory.

    Raises:
        JournalError: DuckDB is not installed.
    """
    try:
        import duckdb
    except ImportError as error:
        raise JournalError(
            "Tables across calls need duckdb, which is not installed.",
            safe="No record was changed.", do="Install companion[record].",
        ) from error  # fmt: skip
    database = duckdb.connect()
    database.execute("SET TimeZone = 'UTC'")
    return database


def gather_calls(database: Any, place: str | Path, answers: Iterable[tuple[str, str]]) -> int:
    """Make both tables; how many calls there are.

    Args:
        place: a folder of calls; or a path, glob or URL of Parquet files of ``lines``.
        answers: the word that names each equipment in a call, and its profile.

    Raises:
        JournalError: there is nothing there.
    """
    text = str(place)
    journals = not text.endswith(".parquet")
    found = f"{text}/*/{JOURNAL}" if journals else text
    if journals and not any(Path(text).glob(f"*/{JOURNAL}")):
        raise _nothing(text)
    query = (_FROM_JOURNALS if journals else _FROM_PARQUET).replace("$place", _quoted(found))
    import duckdb

    database.execute("CREATE OR REPLACE TABLE answers (answer VARCHAR, profile VARCHAR)")
    for pair in answers:
        database.execute("INSERT INTO answers VALUES (?, ?)", list(pair))
    try:
        database.execute(query)
        database.execute(_CALLS)
    except duckdb.IOException as error:
        raise _nothing(text) from error
    return int(database.execute("SELECT count(*) FROM calls").fetchone()[0])


def export_lines(database: Any, out: Path) -> None:
    """``lines`` as Parquet, as other machines or an object store take it."""
    database.execute(
        f"COPY (FROM lines ORDER BY call, seq) TO {_quoted(str(out))} (FORMAT parquet)"
    )


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _nothing(place: str) -> JournalError:
    return JournalError(
        f"There are no records in {place}.",
        safe="Nothing was changed.",
        do="Name a folder of calls, or Parquet files of them.",
    )
