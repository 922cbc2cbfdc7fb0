"""Lines of as many invented calls as wanted, made by DuckDB; and learning from them, measured.

``python -m tests.review.synthetic`` makes 100,000 calls in twelve Parquet files of a month each,
learns from them on the disk, then from the same files behind a file system of objects, then
from 1,000 whole journals, each in a process of its own with 400 MB for DuckDB, and prints time
and peak memory.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from companion.datafiles import folder
from companion.review.figures import figures_page
from companion.review.installation import installations
from companion.review.learning import learn
from companion.review.many import connect, gather_calls
from companion.turns import load_dialogs
from tests.peak import peak_mb
from tests.review.invented import invented_call

# What really fails in this invented world, by equipment; much unlike the shipped priors.
TRUTH = {
    "cooling-gas-furnace": [
        ("contactor coil", "dead coil", 0.5), ("outdoor splice", "short", 0.3),
        ("outdoor cable", "short", 0.2),
    ],
    "heat-pump-air-handler": [
        ("reversing valve coil", "dead coil", 0.6), ("outdoor cable", "chassis", 0.4),
    ],
}  # fmt: skip

_LINES = """
CREATE OR REPLACE TABLE made AS
WITH picks AS (
    SELECT i, 'made-' || lpad(i::VARCHAR, 7, '0') AS call,
        TIMESTAMPTZ '2026-01-01 08:00:00+00' + to_seconds((hash(i, 1) % 31449600)::BIGINT) AS begun,
        (hash(i, 2) % 1000) / 1000.0 AS which, (hash(i, 3) % 1000) / 1000.0 AS fate,
        (hash(i, 4) % 1000) / 1000.0 AS kind
    FROM range($first, $last) t(i)
), cases AS (
    SELECT p.*, t.profile, t.part, t.fault FROM picks p JOIN truth t
    ON t.profile = CASE WHEN kind < 0.6 THEN 'cooling-gas-furnace'
        ELSE 'heat-pump-air-handler' END AND which >= low AND which < high
), lines AS (
    SELECT call, begun, profile, part, fault, fate, unnest(range(40)) AS seq FROM cases
)
SELECT call, seq::INTEGER AS seq, begun + to_seconds(seq * 25) AS wall, CASE
    WHEN seq = 0 THEN json_object('kind', 'call_opened', 'schema_version', 2, 'call_id', call,
        'procedure', 'shorted-control-circuit', 'profile', profile, 'dialogs_digest', md5(call),
        'model', 'field-en', 'source', 'microphone', 'floor', json_object('usual', 0.6))
    WHEN seq = 37 THEN json_object('kind', 'suspicion', 'suspects', json_array(json_object(
        'part', part, 'fault', fault, 'terminal', 'Y', 'chance', 0.95)), 'odd', json_array(),
        'enough', true, 'words', '')
    WHEN seq = 38 THEN json_object('kind', 'concluded', 'outcome',
        CASE WHEN fate < 0.9 THEN 'repaired' ELSE 'not_found' END, 'circuit', 'Y',
        'part', CASE WHEN fate < 0.9 THEN part END, 'proved', fate < 0.85)
    WHEN seq % 3 = 1 THEN json_object('kind', 'utterance', 'text', 'zero point five ohms',
        'source', 'microphone', 'words', json_array(), 'clip', 'utterance-0001.flac')
    WHEN seq % 3 = 2 AND hash(call, seq) % 20 = 0 THEN json_object('kind', 'not_understood',
        'heard', '[unk]', 'reason', 'unknown_words', 'candidates', json_array())
    WHEN seq % 3 = 2 THEN json_object('kind', 'taken', 'step', 'ohms', 'about', 'Y', 'value',
        json_object('kind', 'reading', 'quantity', 'resistance', 'value_si', 0.5, 'over_limit',
        false, 'at', 'Y', 'said', 'zero point five ohms'), 'read_back', 'confirmed')
    ELSE json_object('kind', 'spoken', 'text', 'Zero point five ohms. Right?', 'clip', 'x.flac')
    END AS message FROM lines
"""


def make(out: Path, calls: int, files: int = 1) -> None:
    """Parquet files of lines: ``made-00.parquet`` and so on."""
    database = connect()
    database.execute("CREATE TABLE truth (profile VARCHAR, part VARCHAR, fault VARCHAR, "
                     "low DOUBLE, high DOUBLE)")  # fmt: skip
    for profile, faults in TRUTH.items():
        low = 0.0
        for part, fault, share in faults:
            row = [profile, part, fault, low, round(low + share, 6)]
            database.execute("INSERT INTO truth VALUES (?, ?, ?, ?, ?)", row)
            low += share
    for number in range(files):
        first, last = calls * number // files, calls * (number + 1) // files
        database.execute(_LINES.replace("$first", str(first)).replace("$last", str(last)))
        database.execute(f"COPY made TO '{out / f'made-{number:02d}.parquet'}' (FORMAT parquet)")


def learned_from(place: str, database: Any = None) -> tuple[Any, int, list[Any]]:
    """The database, how many calls, and what they teach."""
    database = database or connect()
    known = list(installations(folder("dialogs")))
    calls = gather_calls(database, place, [(i.answer, i.id) for i in known])
    return database, calls, learn(database, folder("dialogs") / "circuit" / "priors.toml", known)


def measure(place: str, way: str) -> dict[str, float]:
    """Learn once, and say what it took."""
    database = connect()
    database.execute("SET memory_limit = '400MB'")
    if way == "objects":
        import fsspec

        objects = fsspec.filesystem("memory")
        for path in sorted(Path(place).parent.glob("*.parquet")):
            objects.pipe(f"/bucket/{path.name}", path.read_bytes())
        held = peak_mb()
        database.register_filesystem(objects)
        place = "memory://bucket/*.parquet"
    else:
        held = 0.0
    began = time.perf_counter()
    database, calls, learned = learned_from(place, database)
    page = figures_page(database, learned)
    took = time.perf_counter() - began
    return {"calls": calls, "groups": len(learned), "page": len(page), "seconds": took,
            "peak_mb": peak_mb(), "held_before_mb": held}  # fmt: skip


def main() -> None:
    """Print the table, or with two arguments measure one way."""
    if len(sys.argv) == 3:
        print(json.dumps(measure(sys.argv[1], sys.argv[2])))
        return
    with tempfile.TemporaryDirectory() as place:
        began = time.perf_counter()
        make(Path(place), 100_000, files=12)
        size = sum(p.stat().st_size for p in Path(place).iterdir()) / 1e6
        print(f"made in {time.perf_counter() - began:.0f} s: 12 files, {size:.0f} MB")
        journals = Path(place) / "calls"
        one = invented_call(load_dialogs(folder("dialogs")), journals / "one", sound=False)
        for number in range(1000):
            shutil.copytree(one, journals / f"made-{number:04d}")
        for way in ("disk", "objects", "journals"):
            where = str(journals) if way == "journals" else f"{place}/*.parquet"
            command = [sys.executable, "-m", __spec__.name, where, way]
            done = subprocess.run(command, check=True, capture_output=True, text=True)
            print(way, done.stdout.strip(), flush=True)


if __name__ == "__main__":
    main()
