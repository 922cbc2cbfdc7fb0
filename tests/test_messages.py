"""Every message round-trips through JSON, by reflection over the whole union."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from companion import messages
from companion.messages import MESSAGE, Entry, Suspect
from companion.understood import HeardWord, Reading

KINDS = get_args(get_args(messages.Message)[0])

finite = st.floats(allow_nan=False, allow_infinity=False)
readings = st.one_of(
    st.builds(Reading, quantity=st.sampled_from(["resistance", "voltage", "current"]),
              value_si=finite, over_limit=st.just(False), at=st.none() | st.text()),
    st.builds(Reading, quantity=st.just("resistance"), value_si=st.none(),
              over_limit=st.just(True), said=st.text()),
)  # fmt: skip
st.register_type_strategy(Reading, readings)
st.register_type_strategy(float, finite)
words = st.builds(HeardWord, text=st.text(), confidence=st.none() | st.floats(0, 1))
st.register_type_strategy(HeardWord, words)
suspects = st.builds(Suspect, part=st.text(), fault=st.text(), chance=st.floats(0, 1))
st.register_type_strategy(Suspect, suspects)


def test_the_union_holds_every_record_with_a_kind():
    with_kind = {
        model
        for model in vars(messages).values()
        if isinstance(model, type) and issubclass(model, BaseModel) and "kind" in model.model_fields
    }
    assert set(KINDS) == with_kind


@pytest.mark.parametrize("model", KINDS, ids=lambda model: model.__name__)
def test_round_trip(model):
    @given(st.from_type(model))
    def check(message):
        assert MESSAGE.validate_json(MESSAGE.dump_json(message)) == message
        entry = Entry(seq=0, wall="2026-01-01T00:00:00+00:00", mono_s=0.0, message=message)
        assert Entry.model_validate_json(entry.model_dump_json()) == entry

    check()


def test_unknown_fields_and_kinds_are_refused():
    with pytest.raises(ValidationError):
        MESSAGE.validate_python({"kind": "spoken", "text": "x", "mood": "cheerful"})
    with pytest.raises(ValidationError):
        MESSAGE.validate_python({"kind": "sung", "text": "x"})
