"""What is kept by distinct rows comes back to the bit."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from companion.diagnosis import distinct as module
from companion.diagnosis.distinct import distinct, side_by_side
from companion.diagnosis.predicted import Predicted, packed

FEW = st.sampled_from([0.0, -0.0, 0.5, 1e9, float("inf"), float("nan")])
KINDS = st.sampled_from([np.float32, np.float64])


def alike(a, b) -> bool:
    return (a.shape, a.dtype, a.tobytes()) == (b.shape, b.dtype, b.tobytes())


def rows(*shape: int, kind=np.float32):
    return arrays(kind, shape, elements=FEW)


@given(KINDS.flatmap(lambda kind: arrays(kind, array_shapes(min_dims=2), elements=FEW)))
def test_rows_come_back_and_none_is_kept_twice(array):
    kept = distinct(array)
    assert alike(kept.all(), array)
    assert len({row.tobytes() for row in kept.rows}) == len(kept.rows)


@given(st.lists(rows(5, 2), min_size=1, max_size=4), st.data())
def test_arrays_side_by_side_are_read_by_row_and_array(several, data):
    cells = np.array(data.draw(st.lists(st.integers(0, 4), min_size=1)))
    of = data.draw(st.lists(st.integers(0, len(several) - 1), min_size=1))
    found = side_by_side([distinct(array) for array in several]).at(cells, of)
    assert alike(found, np.stack([several[i][cells] for i in of], axis=1))


def test_unlike_rows_of_one_sum_are_told_apart(monkeypatch):
    monkeypatch.setattr(module, "_weights", lambda count: np.ones(count, dtype=np.uint64))
    array = np.array([[1.0, 2.0], [2.0, 1.0], [1.0, 2.0]], dtype=np.float32)
    assert alike(distinct(array).all(), array)


CASES = [
    {"mean": (3, 4, 2), "spread": (3, 4, 2), "none": (3, 4, 2), "load": (3, 4, 2),
     "moves": (3, 4, 2)},
    {"mean": (4, 2), "spread": (4, 2), "none": (4, 2)},
    {"words": (4, 2, 3)},
]  # fmt: skip


@pytest.mark.parametrize("shapes", CASES)
@given(data=st.data())
def test_a_prediction_is_unpacked_as_it_was(shapes, data):
    error = data.draw(rows(2))
    whole = Predicted(**{n: data.draw(rows(*shape)) for n, shape in shapes.items()}, error=error)
    again = packed(whole).unpacked()
    for field in fields(Predicted):
        was, now = getattr(whole, field.name), getattr(again, field.name)
        assert (was is None) == (now is None)
        assert was is None or alike(was, now), field.name
