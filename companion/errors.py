"""Everything that can go wrong on purpose, as one tree.

    CompanionError
    ├── DataFileError       a file under dialogs/ or models/ says something it may not
    ├── ModelError          the speech model is missing, or cannot do what is asked of it
    ├── AudioError          sound could not be read, recorded or played
    │   ├── BadRecording    a sound file is not one, or ends before it should
    │   └── NoMicrophone    there is nothing to record with
    ├── VoiceError          no speech could be made
    ├── ProcedureError      the procedure was asked for what it does not allow
    └── JournalError        the record of a call could not be written or read
        ├── CallInUse       another process is writing this call
        └── ReplayDiffers   the record no longer leads to the state that it once led to

Each message says what happened, what is safe, and what to do, in that order.
"""

from __future__ import annotations


class CompanionError(Exception):
    """Base of the tree.

    Args:
        what: what happened, with the file, device or step by name.
        safe: what the technician may rely on in spite of it.
        do: what to do next.
    """

    exit_status = 1

    def __init__(self, what: str, *, safe: str, do: str) -> None:
        self.what, self.safe, self.do = what, safe, do
        super().__init__(f"{what} {safe} {do}")


class DataFileError(CompanionError):
    """A data file is missing, is not TOML, or holds a value that is not allowed there."""

    exit_status = 3

    def __init__(self, file: object, key: str, expected: str) -> None:
        self.file, self.key, self.expected = str(file), key, expected
        super().__init__(
            f"{file}: at {key!r}: {expected}.",
            safe="No call was begun.",
            do="Mend that line of the file, or install the program again.",
        )


class ModelError(CompanionError):
    """The speech model cannot be found or used."""

    exit_status = 4


class AudioError(CompanionError):
    """Sound could not be read, recorded or played."""

    exit_status = 5


class BadRecording(AudioError):
    """A sound file cannot be read to its end."""


class NoMicrophone(AudioError):
    """No device to record from, or no library that can reach one."""


class VoiceError(CompanionError):
    """No speech could be made; prompts can still be printed."""

    exit_status = 6


class ProcedureError(CompanionError):
    """The procedure was asked for something that it does not allow."""

    exit_status = 7


class JournalError(CompanionError):
    """The record of a call cannot be written or read."""

    exit_status = 8


class CallInUse(JournalError):
    """Another process has this call open for writing."""


class ReplayDiffers(JournalError):
    """Replaying the record gives another state than the one on record."""
