"""Kaldi's binary stream: tokens, numbers, vectors, matrices, written and read back.

The layout follows Kaldi's own documentation of its input and output ("Kaldi I/O mechanisms"): a
file opens with a zero byte and "B"; a token is text closed by a space; a number is a size byte and
its little-endian bytes; a float matrix is the token "FM", two numbers and the rows; one of 16 or 8
bits is the token "CM2" or "CM3" and a header of two floats and two ints. Malformed input raises
ValueError.
"""

from __future__ import annotations

import io
import struct

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

OPENING = b"\0B"
_COMPACT = {8: ("CM3", "u1", 255), 16: ("CM2", "<u2", 65535)}
"""Bits a value to the layout's token, number type and highest step."""


class Writer:
    """Collects a binary stream; `data` is what has been written so far."""

    def __init__(self) -> None:
        self._out = io.BytesIO()
        self._out.write(OPENING)

    @property
    def data(self) -> bytes:
        """Everything written, with the opening bytes."""
        return self._out.getvalue()

    def raw(self, data: bytes) -> None:
        """Bytes as they are."""
        self._out.write(data)

    def token(self, *names: str) -> None:
        """One or more tokens; a token has no spaces."""
        for name in names:
            self._out.write(name.encode("ascii") + b" ")

    def int32(self, *values: int) -> None:
        """Signed 32-bit numbers."""
        for value in values:
            self._out.write(struct.pack("<bi", 4, value))

    def float32(self, *values: float) -> None:
        """Single-precision numbers."""
        for value in values:
            self._out.write(struct.pack("<bf", 4, value))

    def int_vector(self, values: list[int]) -> None:
        """A vector of 32-bit integers: one size byte, a bare count, the values."""
        self._out.write(struct.pack("<bi", 4, len(values)) + np.asarray(values, "<i4").tobytes())

    def vector(self, values: Floats) -> None:
        """A float vector."""
        self.token("FV")
        self.int32(len(values))
        self._out.write(np.asarray(values, "<f4").tobytes())

    def matrix(self, values: Floats, bits: int = 32) -> None:
        """A float matrix, shape (rows, columns); in 8 or 16 bits a value is one of that many steps
        between the extremes, off by at most half a step."""
        rows, columns = values.shape
        if bits == 32:
            self.token("FM")
            self.int32(rows, columns)
            self._out.write(np.asarray(values, "<f4").tobytes())
            return
        name, kind, most = _COMPACT[bits]
        low = float(values.min())
        span = max(float(values.max()) - low, 1e-20)
        steps = np.rint((values.astype(np.float64) - low) * (most / span)).clip(0, most)
        self.token(name)
        self._out.write(
            struct.pack("<ffii", low, span, rows, columns) + steps.astype(kind).tobytes()
        )


class Reader:
    """Reads what `Writer` writes."""

    def __init__(self, data: bytes) -> None:
        if data[:2] != OPENING:
            raise ValueError("not a Kaldi binary file: it doesn't open with a zero byte and B")
        self._data = data
        self._at = 2

    def _take(self, count: int) -> bytes:
        taken = self._data[self._at : self._at + count]
        if len(taken) < count:
            raise ValueError(
                f"file ends at byte {len(self._data)}, {count - len(taken)} bytes early"
            )
        self._at += count
        return taken

    def peek_token(self) -> str:
        """The next token, not consumed."""
        end = self._data.find(b" ", self._at)
        if end < 0:
            raise ValueError(f"no token at byte {self._at}")
        return self._data[self._at : end].decode("ascii", "replace")

    def token(self, *expected: str) -> str:
        """Consumes one token for each name given (or one of any name) and returns the last."""
        name = ""
        for wanted in expected or ("",):
            name = self.peek_token()
            if wanted and name != wanted:
                raise ValueError(f"{wanted} expected at byte {self._at}, found {name}")
            self._at += len(name) + 1
        return name

    def line(self) -> str:
        """Text up to the next line end, which is consumed."""
        end = self._data.find(b"\n", self._at)
        if end < 0:
            raise ValueError(f"no line end after byte {self._at}")
        return self._take(end + 1 - self._at)[:-1].decode("ascii")

    def int32(self) -> int:
        """One 32-bit number."""
        size, value = struct.unpack("<bi", self._take(5))
        if size != 4:
            raise ValueError(f"a number of {size} bytes before byte {self._at}, 4 expected")
        return int(value)

    def float32(self) -> float:
        """One single-precision number."""
        size, value = struct.unpack("<bf", self._take(5))
        if size != 4:
            raise ValueError(f"a number of {size} bytes before byte {self._at}, 4 expected")
        return float(value)

    def int_vector(self) -> list[int]:
        """A vector of 32-bit integers."""
        count = self.int32()
        return [int(value) for value in np.frombuffer(self._take(4 * count), "<i4")]

    def vector(self) -> Floats:
        """A float vector."""
        self.token("FV")
        return np.frombuffer(self._take(4 * self.int32()), "<f4").copy()

    def matrix(self) -> Floats:
        """A float matrix in any layout, shape (rows, columns)."""
        for name, kind, most in _COMPACT.values():
            if self.peek_token() == name:
                self.token(name)
                low, span, rows, columns = struct.unpack("<ffii", self._take(16))
                data = self._take(np.dtype(kind).itemsize * rows * columns)
                steps = np.frombuffer(data, kind).reshape(rows, columns)
                return np.asarray(low + steps.astype(np.float64) * (span / most), np.float32)
        self.token("FM")
        rows, columns = self.int32(), self.int32()
        return np.frombuffer(self._take(4 * rows * columns), "<f4").reshape(rows, columns).copy()
