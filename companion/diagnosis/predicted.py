"""What a test would read under every hypothesis, as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.diagnosis.distinct import Distinct, distinct

Numbers = NDArray[Any]


@dataclass(frozen=True)
class Predicted:
    """A test under every hypothesis and column.

    Args:
        mean: of a number, (H, K), in SI; of ohms (boards, H, K), see ``nuisance.BOARDS``.
        spread: relative standard spread of it, from loads and from the fault's own ohms.
        error: the meter's own, as a share of its limit, (K,).
        none: chance that protection has opened, so that zero is read instead, like ``mean``.
        words: chance of each word, (H, K, words), where the test comes out in words.
        load: relative change for one standard spread of the loads, and ``moves`` the rest of
            ``spread``, where the two are known apart.
    """

    mean: Numbers | None = None
    spread: Numbers | None = None
    none: Numbers | None = None
    error: Numbers | None = None
    words: Numbers | None = None
    load: Numbers | None = None
    moves: Numbers | None = None


_NONE = np.zeros((1, 1))
OPEN = Predicted(_NONE + 1e9, _NONE, _NONE, np.zeros(1))  # ohms of nothing, the same in all cells


def joined(parts: Sequence[Predicted]) -> Predicted:
    """Predictions for some hypotheses after others, as one."""

    def whole(name: str) -> Numbers | None:
        arrays = [getattr(part, name) for part in parts]
        if arrays[0] is None:
            return None
        joined = np.concatenate(arrays, axis=0 if name == "words" else -2)
        # Hundreds of tests are kept for a whole call, and no meter shows seven digits.
        return joined.astype(np.float32)

    return Predicted(whole("mean"), whole("spread"), whole("none"), words=whole("words"),
                     load=whole("load"), moves=whole("moves"))  # fmt: skip


@dataclass(frozen=True)
class Packed:
    """A prediction in little room.

    Args:
        error: as of the prediction.
        shapes: of its other arrays by name, in the order in which they lie side by side.
        cells: what they hold in each cell, (H K, numbers).
    """

    error: Numbers | None
    shapes: dict[str, tuple[int, ...]]
    cells: Distinct

    def unpacked(self) -> Predicted:
        """The prediction that was packed."""
        cells, at = self.cells.all(), 0
        arrays: dict[str, Numbers] = {}
        for name, shape in self.shapes.items():
            width = prod(shape) // len(cells)
            part = cells[:, at : at + width]
            arrays[name] = np.ascontiguousarray(part if name == "words" else part.T).reshape(shape)
            at += width
        return replace(Predicted(**arrays), error=self.error)


def packed(predicted: Predicted) -> Packed:
    """A prediction, packed; its arrays but for ``error`` are of one kind of number."""
    shapes: dict[str, tuple[int, ...]] = {}
    parts = []
    for name in ("mean", "spread", "none", "words", "load", "moves"):
        array: Numbers | None = getattr(predicted, name)
        if array is not None:
            shapes[name] = array.shape
            cells = prod(array.shape[:2] if name == "words" else array.shape[-2:])
            parts.append(array.reshape(cells, -1) if name == "words" else
                         array.reshape(-1, cells).T)  # fmt: skip
    return Packed(predicted.error, shapes, distinct(np.concatenate(parts, axis=1)))
