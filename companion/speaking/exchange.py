"""What goes over the pipe between the voice and the process that makes its sound."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import BaseModel

CHILD = "companion.speaking.child"
"""The module that is run there. Never imported here, or it would be run twice over there."""


class Request(BaseModel):
    """Text to speak into the file at ``path``, which is absolute; the folder is there."""

    text: str
    path: Path


class Reply(BaseModel):
    """``ready`` once at the start, then ``done`` or ``failed`` for each request."""

    state: Literal["ready", "done", "failed", "no_engine"]
    what: str = ""
    do: str = ""
