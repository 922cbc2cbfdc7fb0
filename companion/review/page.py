"""One call as one HTML file: nothing to fetch, nothing to install, safe to open.

Whatever was dictated is text and stays text: the template escapes everything, and a content
security policy lets no script or style run but the page's own, by their digests.
"""

from __future__ import annotations

import base64
import hashlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from companion.journal import Past, altered_clips
from companion.review.chances import chart, name_of
from companion.review.clips import Carried, data_uri
from companion.review.drawing import draw
from companion.review.facts import Facts, gather
from companion.review.installation import installation_of
from companion.review.telling import READ_BACK, tell
from companion.review.transcript import Turn, turns

_HERE = Path(__file__).parent / "page"
_PRINTED, _LISTED = 30, 5  # rows of values, items of a list, that two printed pages take


@dataclass(frozen=True)
class Figure:
    """A number about the call, with what it counts."""

    name: str
    value: str


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(_HERE), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.filters["name_of"] = name_of
    made.filters["percent"] = lambda share: f"{share:.0%}"
    return made


def review_page(
    past: Past,
    folder: Path,
    dialogs: Path,
    carried: Carried = "opus",
    *,
    redacted: bool = False,
) -> str:
    """The page of a call.

    Args:
        past: its record, folder: where its clips lie, dialogs: where equipment is described.
        carried: how the clips are carried in the page.
        redacted: whether the record was, which the page then says.
    """
    facts = gather(past.entries)
    said = turns(past.entries, facts)
    heard = [turn for turn in said if turn.clip]
    with ThreadPoolExecutor() as pool:  # the encoder lets go of the interpreter
        uris = pool.map(lambda turn: data_uri(folder / str(turn.clip), carried), heard)
        sounds = {turn.seq: uri for turn, uri in zip(heard, uris, strict=True) if uri}
    return rendered(
        "page.html.j2",
        call=facts.opened.call_id if facts.opened else folder.name,
        facts=facts,
        telling=tell(facts),
        drawing=draw(installation_of(facts, dialogs), facts),
        chart=chart(facts.believed),
        turns=said,
        sounds=sounds,
        figures=figures(facts, said),
        read_back=READ_BACK,
        printed=_PRINTED,
        listed=_LISTED,
        seal=past.seal,
        lines=len(past.entries),
        changed_at=past.changed_at,
        altered=altered_clips(folder, past.entries),
        torn=past.torn_bytes,
        carried=carried,
        redacted=redacted,
    )


def rendered(template: str, **told: Any) -> str:
    """A page by its template, with its style and script, and the policy that lets only them be."""
    style, script = _text("page.css"), _text("page.js")
    page = _environment().get_template(template)
    return page.render(**told, style=style, script=script, policy=_policy(style, script))


def figures(facts: Facts, said: list[Turn]) -> list[Figure]:
    """Numbers about the call."""
    heard = facts.utterances
    taken_at_once = heard - len(facts.missed)
    sure = [t.confidence for t in said if t.who == "technician" and t.confidence is not None]
    checked = sum(v.read_back in {"confirmed", "said_twice"} for v in facts.standing_values)
    return [
        Figure("minutes", f"{facts.minutes:.1f}"),
        Figure("things said by the technician", str(heard)),
        Figure("understood at once", f"{taken_at_once / heard:.0%}" if heard else "–"),
        Figure("least sure word", f"{min(sure):.2f}" if sure else "–"),
        Figure("values that counted", str(len(facts.standing_values))),
        Figure("confirmed or said twice", str(checked)),
        Figure("taken back", str(facts.replaced)),
        Figure("kept shut by interlocks", str(len(facts.blocked))),
        Figure("stops", str(facts.stops)),
        Figure("breaks in the call", str(facts.resumed)),
    ]


def _policy(style: str, script: str) -> str:
    return (
        "default-src 'none'; media-src data:; base-uri 'none'; form-action 'none'; "
        f"style-src {_digest(style)}; script-src {_digest(script)}"
    )


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


@cache
def _text(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")
