"""Sound that is kept beside the record, and whether it may be."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable
from pathlib import Path
from typing import Any

from companion.hearing.source import RATE, Samples, Source
from companion.messages import Consent

Keep = Callable[[Samples, int], None]


class Taped:
    """A source of sound; every block that the ears take also goes to ``keep``, once that is set.

    Whether it is kept is up to who keeps it: the journal asks for consent first.
    """

    def __init__(self, source: Source) -> None:
        self._source = source
        self.keep: Keep | None = None

    def read(self) -> Any:
        """The next block of the source."""
        block = self._source.read()
        if block is not None and self.keep is not None:
            self.keep(block.samples, RATE)
        return block

    def __getattr__(self, name: str) -> Any:
        return getattr(self._source, name)


def consents(options: Namespace) -> list[Consent]:
    """What the command line says on keeping sound; what is said in the call comes after it."""
    given = []
    if options.no_clips:
        given.append(Consent(covers="utterances", given=False, said="--no-clips"))
    if options.consent is not None:
        given.append(Consent(covers="whole_call", given=True, said=options.consent))
    return given


def folder_for_clips(place: Path) -> Path | None:
    """The call's folder; None where none can be made, of which the journal tells."""
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return place
