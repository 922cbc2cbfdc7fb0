"""The published schema of a journal: made from the records themselves, so never out of date."""

from __future__ import annotations

import json

from companion.messages import SCHEMA_VERSION, Entry


def schema_text() -> str:
    """JSON Schema (draft 2020-12) of one line."""
    schema = Entry.model_json_schema(mode="serialization")
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"A line of journal.jsonl, schema {SCHEMA_VERSION}",
    }
    return json.dumps({**schema, **head}, indent=1, ensure_ascii=False) + "\n"
