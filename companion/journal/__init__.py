"""The record of a call: appended before anything is acted on, read back to go on."""

from companion.journal.disk import Disk
from companion.journal.lines import seal
from companion.journal.reading import Past, read
from companion.journal.saving import JOURNAL, TORN
from companion.journal.sound import altered_clips, permitted
from companion.journal.writing import Journal

__all__ = [
    "JOURNAL", "TORN", "Disk", "Journal", "Past", "altered_clips", "permitted",
    "read", "seal",
]  # fmt: skip
