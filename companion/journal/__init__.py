"""The record of a call: appended before anything is acted on, read back to go on."""

from companion.journal.reading import Past, read
from companion.journal.writing import JOURNAL, Journal

__all__ = ["JOURNAL", "Journal", "Past", "read"]
