"""What is written in Kaldi's binary form is read back unchanged, and damage is noticed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.recipe.kaldi_binary import OPENING, Reader, Writer

shapes = st.tuples(st.integers(1, 7), st.integers(1, 9))
values = st.floats(-1e6, 1e6, width=32)


@given(shape=shapes, seed=st.integers(0, 2**32 - 1), scale=st.floats(1e-3, 1e3))
def test_a_float_matrix_comes_back_exactly(shape: tuple[int, int], seed: int, scale: float) -> None:
    written = (np.random.default_rng(seed).normal(0, scale, shape)).astype(np.float32)
    out = Writer()
    out.matrix(written)
    np.testing.assert_array_equal(Reader(out.data).matrix(), written)


@given(
    shape=shapes,
    seed=st.integers(0, 2**32 - 1),
    scale=st.floats(1e-3, 1e3),
    bits=st.sampled_from([8, 16]),
)
def test_a_compact_matrix_is_off_by_half_a_step_at_most(
    shape: tuple[int, int], seed: int, scale: float, bits: int
) -> None:
    written = (np.random.default_rng(seed).normal(0, scale, shape)).astype(np.float32)
    out = Writer()
    out.matrix(written, bits)
    step = float(written.max() - written.min()) / (2**bits - 1)
    rounding = 2e-7 * float(np.abs(written).max())
    assert np.abs(Reader(out.data).matrix() - written).max() <= 0.5 * step + rounding


@pytest.mark.parametrize("bits", [8, 16])
def test_a_compact_matrix_takes_one_or_two_bytes_a_value(bits: int) -> None:
    out = Writer()
    out.matrix(np.ones((100, 50), np.float32), bits)
    assert len(out.data) == len(OPENING) + len("CM2 ") + 16 + bits // 8 * 100 * 50


@given(
    integers=st.lists(st.integers(-(2**31), 2**31 - 1), max_size=9),
    floats=st.lists(values, max_size=9),
    number=st.integers(-(2**31), 2**31 - 1),
    single=values,
)
def test_numbers_vectors_and_tokens_come_back(
    integers: list[int], floats: list[float], number: int, single: float
) -> None:
    out = Writer()
    out.token("<Model>")
    out.int_vector(integers)
    out.vector(np.array(floats, np.float32))
    out.int32(number)
    out.float32(single)
    out.raw(b"a line\n")
    out.token("</Model>")
    source = Reader(out.data)
    assert source.token("<Model>") == "<Model>"
    assert source.int_vector() == integers
    assert source.vector().tolist() == floats
    assert source.int32() == number
    assert source.float32() == single
    assert source.line() == "a line"
    assert source.token() == "</Model>"


def test_a_known_stream_has_the_documented_bytes() -> None:
    out = Writer()
    out.token("<Dim>")
    out.int32(3)
    out.vector(np.array([1.0], np.float32))
    assert out.data == b"\0B<Dim> \x04\x03\0\0\0FV \x04\x01\0\0\0\0\0\x80\x3f"


def test_text_is_refused() -> None:
    with pytest.raises(ValueError, match="not a Kaldi binary file"):
        Reader(b"<TransitionModel> ")


@pytest.mark.parametrize("kept", [3, 9, 20, 30])
def test_a_cut_file_is_noticed(kept: int) -> None:
    out = Writer()
    out.matrix(np.ones((3, 3), np.float32))
    with pytest.raises(ValueError, match=r"early|no token"):
        Reader(out.data[:kept]).matrix()


def test_the_wrong_token_is_named() -> None:
    out = Writer()
    out.token("<Dim>")
    with pytest.raises(ValueError, match="<BiasParams> expected at byte 2, found <Dim>"):
        Reader(out.data).token("<BiasParams>")
