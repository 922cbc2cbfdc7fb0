"""Arrays in which most rows are alike, in little room.

A test about one wire reads the same under every fault of another. Each row is kept once, to the
bit, beside which row it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[Any]

_SEED = 7  # of the weights in a row's sum; any will do


@dataclass(frozen=True)
class Distinct:
    """Rows of an array, (n, ...).

    Args:
        rows: those that differ, (distinct, ...).
        which: the row of each, (n,).
    """

    rows: Numbers
    which: Numbers

    def all(self) -> Numbers:
        """The array that it was made from."""
        return np.asarray(self.rows[self.which])


def distinct(array: Numbers) -> Distinct:
    """An array of 4 or 8 bytes a number, (n, ...), by its distinct rows."""
    array = np.ascontiguousarray(array)
    bits = array.reshape(len(array), -1).view(np.uint32)
    sums = (bits * _weights(bits.shape[1])).sum(axis=1, dtype=np.uint64)
    _, first, which = np.unique(sums, return_index=True, return_inverse=True)
    if not np.array_equal(bits[first][which], bits):  # two unlike rows have one sum: all are kept
        first = which = np.arange(len(array))
    return Distinct(array[first], which.astype(np.min_scalar_type(len(first))))


@cache
def _weights(count: int) -> Numbers:
    return np.random.default_rng(_SEED).integers(2**63, size=count, dtype=np.uint64) * 2 + 1


@dataclass(frozen=True)
class Side:
    """Several arrays of as many and as wide rows, side by side.

    Args:
        rows: the distinct rows of all, (distinct, ...).
        which: each row among those of all, (n, arrays); so laid out that what is read of one
            row, in however many arrays, lies together.
    """

    rows: Numbers
    which: Numbers

    def at(self, rows: Numbers, arrays: Sequence[int]) -> Numbers:
        """Some rows of some arrays, (rows, arrays, ...)."""
        # Several times quicker than by brackets, and choosing a test is mostly this.
        of_all = self.which.take(rows, axis=0)
        return np.asarray(self.rows.take(of_all.take(arrays, axis=1), axis=0))


def side_by_side(arrays: Sequence[Distinct]) -> Side:
    """Arrays of as many rows each, and as wide."""
    ends = np.cumsum([len(array.rows) for array in arrays])
    kind = np.min_scalar_type(ends[-1])
    begins = [0, *ends[:-1].tolist()]
    which = [array.which.astype(kind) + kind.type(begin)
             for array, begin in zip(arrays, begins, strict=True)]  # fmt: skip
    return Side(np.concatenate([array.rows for array in arrays]), np.stack(which, axis=1))
