"""A WAV or FLAC file as a source, refused in plain words when it is not whole."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO, Literal

import numpy as np
import soundfile

from companion.errors import BadRecording
from companion.hearing.source import RATE, Block, Resampler

BLOCK = RATE // 25
"""Samples in a block: 40 ms, so that little of the next utterance is heard with the last."""

_LEAST_RATE, _MOST_RATE = 4_000, 768_000


def _bad(path: Path, what: str) -> BadRecording:
    return BadRecording(
        f"{path}: {what}.",
        safe="No answer was taken from what is missing.",
        do="Give a whole WAV or FLAC file.",
    )


def _check_riff(path: Path, file: BinaryIO) -> None:
    """Compare every size that the file states with what is there; libsndfile only clamps them."""
    on_disk = file.seek(0, 2)
    file.seek(0)
    header = file.read(12)
    if len(header) < 12 or header[8:] != b"WAVE":
        raise _bad(path, "it begins like a WAV file but is none")
    (claimed,) = struct.unpack("<I", header[4:8])
    if claimed + 8 > on_disk:
        raise _bad(path, f"it is cut short: {on_disk} bytes of {claimed + 8} are there")
    at = 12
    while at + 8 <= on_disk:
        file.seek(at)
        name, size = struct.unpack("<4sI", file.read(8))
        if at + 8 + size > on_disk:
            raise _bad(path, f"it is cut short inside its {name.decode('latin-1').strip()!r} part")
        if name == b"data":
            return
        at += 8 + size + size % 2
    raise _bad(path, "it holds no sound, only headers")


def _check_flac(path: Path, sound: soundfile.SoundFile) -> None:
    """Decode the last frame: a FLAC's header tells nothing about where its file ends."""
    try:
        sound.seek(sound.frames - 1)
        there = len(sound.read(1))
        sound.seek(0)
    except soundfile.LibsndfileError:
        there = 0
    if not there:
        raise _bad(path, "it is cut short: its last sound can't be read")


class Recording:
    """A sound file, played to whoever reads it and only as fast as they read.

    Any rate from 4 to 768 kHz, any number of channels (mixed to one), integer,
    float, extensible or compressed samples.

    Args:
        path: the file.

    Raises:
        BadRecording: missing, not WAV or FLAC, without sound, or cut short.
    """

    kind: Literal["wav"] = "wav"

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            with path.open("rb") as file:
                magic = file.read(4)
                if magic == b"RIFF":
                    _check_riff(path, file)
        except OSError as error:
            raise _bad(path, f"it can't be opened: {error.strerror}") from error
        if not magic:
            raise _bad(path, "the file is empty")
        if magic not in (b"RIFF", b"fLaC"):
            raise _bad(path, "it is neither a WAV nor a FLAC file")
        try:
            self._sound = soundfile.SoundFile(path)
        except soundfile.LibsndfileError as error:
            raise _bad(path, f"it can't be read as sound: {error.error_string}") from error
        try:
            self._check(magic)
        except BadRecording:
            self._sound.close()
            raise
        self._resampler = Resampler(self._sound.samplerate)
        self._step = max(1, self._sound.samplerate * BLOCK // RATE)
        self._left = self._sound.frames
        self._ready = np.empty(0, np.int16)
        self._given = 0

    def _check(self, magic: bytes) -> None:
        rate = self._sound.samplerate
        if not self._sound.frames:
            raise _bad(self._path, "it has no sound in it")
        if not _LEAST_RATE <= rate <= _MOST_RATE:
            raise _bad(self._path, f"{rate} samples a second is no rate for speech")
        if magic == b"fLaC":
            _check_flac(self._path, self._sound)

    def read(self) -> Block | None:
        """The next 40 ms, less at the very end; None after it.

        Raises:
            BadRecording: the file can't be decoded from here on.
        """
        while len(self._ready) < BLOCK and self._left:
            try:
                frames = self._sound.read(min(self._step, self._left), "float32", always_2d=True)
            except soundfile.LibsndfileError as error:
                raise self._broken() from error
            if not len(frames):
                raise self._broken()
            self._left -= len(frames)
            fresh = self._resampler(frames, last=not self._left)
            self._ready = np.concatenate([self._ready, fresh])
        if not len(self._ready):
            return None
        block = Block(self._given / RATE, self._ready[:BLOCK])
        self._ready = self._ready[BLOCK:]
        self._given += len(block.samples)
        return block

    def _broken(self) -> BadRecording:
        return _bad(self._path, f"it can't be read past {self._given / RATE:.1f} s")

    def close(self) -> None:
        """Close the file."""
        self._sound.close()
