"""The acoustic model survives its file form."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.recipe import acoustic, topology
from models.recipe.acoustic import FEATURES, Layer, Model
from models.recipe.build import SHIPPED


def random_model(seed: int, width: int, residual: int) -> Model:
    rng = np.random.default_rng(seed)
    offsets: list[tuple[int, ...]] = [
        (-2, -1, 0, 1, 2),
        (-1, 0, 1),
        *([(-3, 0, 3)] * residual),
        (0,),
    ]
    layers: list[Layer] = []
    inputs = FEATURES
    for number, taps in enumerate(offsets):
        outputs = topology.CLASSES if number == len(offsets) - 1 else width
        weight = rng.normal(0, 0.1, (outputs, inputs * len(taps))).astype(np.float32)
        skips = number - 1 if 1 < number < len(offsets) - 1 and number < 4 else 0
        bias = rng.normal(0, 1, outputs).astype(np.float32)
        layers.append(Layer(taps, weight, bias, min(skips, 2), rectified=number % 3 > 0))
        inputs = outputs
    return tuple(layers)


@given(seed=st.integers(0, 1000), width=st.integers(2, 12), residual=st.integers(0, 4))
@settings(max_examples=20, deadline=None)
def test_a_model_comes_back_from_its_file_form(seed: int, width: int, residual: int) -> None:
    model = random_model(seed, width, residual)
    back = acoustic.from_bytes(acoustic.to_bytes(model, bits=32))
    assert [(layer.offsets, layer.skips) for layer in back] == [
        (layer.offsets, layer.skips) for layer in model
    ]
    assert [layer.rectified for layer in back[:-1]] == [layer.rectified for layer in model[:-1]]
    for one, other in zip(model, back, strict=True):
        np.testing.assert_array_equal(one.weight, other.weight)
        np.testing.assert_array_equal(one.bias, other.bias)


def test_context_is_the_sum_of_the_offsets() -> None:
    assert acoustic.context(random_model(1, 4, 5)) == (18, 18)


def test_the_shipped_model_reads_back_and_writes_the_same() -> None:
    data = (SHIPPED / "am" / "final.mdl").read_bytes()
    model = acoustic.from_bytes(data)
    assert model[0].weight.shape[1] == FEATURES * len(model[0].offsets)
    assert model[-1].weight.shape[0] == topology.CLASSES
    again = acoustic.from_bytes(acoustic.to_bytes(model))
    for one, other in zip(model, again, strict=True):
        span = float(one.weight.max() - one.weight.min())
        assert np.abs(one.weight - other.weight).max() <= span / 65535


def test_another_file_is_refused() -> None:
    with pytest.raises(ValueError, match="<TransitionModel> expected"):
        acoustic.from_bytes(b"\0B<Nnet3> ")


def test_transition_numbers_are_unique_and_dense() -> None:
    numbers = [topology.first_transition(phone) for phone in range(1, topology.COUNT + 1)]
    numbers += [topology.further_transition(phone) for phone in range(1, topology.COUNT + 1)]
    assert sorted(numbers) == list(range(1, 2 * topology.COUNT + 1))
