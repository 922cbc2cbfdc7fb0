"""A call in the forms that others take: Markdown, plain text for a work order, tables."""

from __future__ import annotations

import csv
import io
import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from companion.messages import Entry
from companion.review.facts import Facts, gather
from companion.review.telling import READ_BACK, tell, value_at
from companion.review.transcript import turns
from companion.understood import Reading

COLUMNS = (
    "call", "line", "time", "phase", "step", "about", "quantity", "value_si", "over_limit",
    "answer", "said", "confidence", "read_back", "verdict", "taken_back",
)  # fmt: skip
_MARKS = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>&~])")
_WORK_ORDER = 78


def markdown(entries: Sequence[Entry]) -> str:
    """The whole call; what was dictated stays text in Markdown, too."""
    facts = gather(entries)
    told = tell(facts)
    out = [f"# {_md(told.headline)}", "", f"Call {_md(_call(facts))}, {facts.begun[:16]} UTC", ""]
    for title, lines in (("Proof", told.proof), ("Parts", told.parts), ("Left to do", told.left)):
        out += [
            f"## {title}",
            "",
            *(f"- {_md(line)}" for line in lines or ("None on record.",)),
            "",
        ]
    out += [
        "## What counted",
        "",
        "| time | where | value | checked | meaning |",
        "|---|---|---|---|---|",
    ]
    for v in facts.standing_values:
        cells = (v.clock, v.where, str(v.value), READ_BACK[v.read_back], v.verdict or "")
        out.append(f"| {' | '.join(_md(cell) for cell in cells)} |")
    notes = [*facts.notes, *((at, remark.text) for at, remark in facts.remarks)]
    if notes:
        out += ["", "## Notes", "", *(f"- {at} {_md(text)}" for at, text in notes)]
    out += ["", "## What was said", ""]
    for turn in turns(entries, facts):
        out.append(f"- {turn.clock} **{turn.who}** {_md(turn.text)}")
        out += [f"    - {_md(line)}" for line in turn.lines]
    return "\n".join([*out, ""])


def work_order(entries: Sequence[Entry]) -> str:
    """A few lines of plain ASCII to paste into a work order."""
    facts = gather(entries)
    told = tell(facts)
    readings = [value_at(v) for v in facts.standing_values if isinstance(v.value, Reading)]
    parts = [
        ("CALL", f"{_call(facts)}, {facts.begun[:16]} UTC, {facts.minutes:.0f} min"),
        ("FOUND", told.headline),
        ("PROOF", "; ".join(line.rstrip(".") for line in told.proof) or "none on record"),
        ("PARTS", "; ".join(told.parts) or "none on record"),
        ("LEFT", "; ".join(line.rstrip(".") for line in told.left) or "nothing on record"),
        ("READINGS", "; ".join(readings) or "none"),
        ("NOTES", "; ".join(text for _, text in facts.notes) or "none"),
    ]
    return "".join(line + "\n" for name, said in parts for line in _wrapped(name, said))


def value_rows(call: str, facts: Facts) -> Iterator[dict[str, Any]]:
    """Every value that was taken, a row each."""
    for v in facts.counted:
        reading = v.value if isinstance(v.value, Reading) else None
        yield dict(zip(COLUMNS, (
            call, v.seq, v.clock, v.phase, v.step, v.about,
            reading.quantity if reading else None, reading.value_si if reading else None,
            reading.over_limit if reading else None, None if reading else str(v.value),
            v.said, v.confidence, v.read_back, v.verdict, v.withdrawn,
        ), strict=True))  # fmt: skip


def values_csv(rows: Iterable[dict[str, Any]]) -> str:
    """The rows as CSV; no cell can be taken for a formula."""
    out = io.StringIO()
    table = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    table.writeheader()
    for row in rows:
        table.writerow({key: plain_cell(value) for key, value in row.items()})
    return out.getvalue()


def plain_cell(value: Any) -> Any:
    """A cell that no spreadsheet runs (OWASP, CSV injection)."""
    risky = isinstance(value, str) and value[:1] in {"=", "+", "-", "@", "\t", "\r"}
    return "'" + value if risky else value


def _call(facts: Facts) -> str:
    return facts.opened.call_id if facts.opened else ""


def _md(text: str) -> str:
    return _MARKS.sub(r"\\\1", " ".join(text.split()))


def _wrapped(name: str, said: str) -> Iterator[str]:
    plain = said.replace("Ω", "ohm").encode("ascii", "replace").decode()
    yield from textwrap.wrap(
        " ".join(plain.split()), _WORK_ORDER,
        initial_indent=f"{name + ':':<10}", subsequent_indent=" " * 10,
    )  # fmt: skip
