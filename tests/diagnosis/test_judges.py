"""Verdicts on single readings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.diagnosis import VERDICTS, fixed_sweep, judge
from companion.expected import Known
from companion.understood import Reading

# A contactor coil of 8 to 20 ohms (from memory) behind 150 ft of 18 AWG in a 40 C attic.
COOLING = Known(ohms=(8.0, 20.0), leads_ohm=0.2, cable_awg=18, cable_ft=150.0, cable_c=40.0)


def ohms(value: float | None) -> Reading:
    return Reading(quantity="resistance", value_si=value, over_limit=value is None)


@pytest.mark.parametrize(
    ("read", "verdict"),
    [
        (0.2, "short"),   # nothing but the leads
        (0.9, "short"),   # common practice, no source: a shorted coil or cable, under 2 ohms
        (2.7, "short"),   # 2.5 net: the far end of the longest cable, 2.07 + 0.5 at the fault
        (4.0, "low"),     # shorted turns; a bigger coil reads so too
        (12.8, "fits"),   # common practice, no source: a good contactor coil is 12 to 16
        (40.1, "fits"),
        (41.0, "open"),
        (None, "open"),
    ],
)  # fmt: skip
def test_terminal(read, verdict):
    assert judge("terminal_ohms", ohms(read), COOLING) == verdict


@pytest.mark.parametrize(
    ("read", "verdict"), [(0.7, "short"), (1.2, "short"), (4.2, "low"), (14.2, "fits"),
                          (None, "open")],
)  # fmt: skip
def test_coil_alone(read, verdict):
    """Common practice, no source: 0.5 ohm is a shorted coil, 12 to 16 a good one."""
    assert judge("coil_ohms", ohms(read), COOLING) == verdict


@pytest.mark.parametrize(("read", "verdict"), [(1.1, "short"), (200.0, "clear"), (None, "clear")])
def test_wiring(read, verdict):
    assert judge("wiring_ohms", ohms(read), COOLING) == verdict


@pytest.mark.parametrize(("fitted", "verdict"), [(3.0, "same"), (5.0, "over"), (2.0, "under")])
def test_fuse_against_the_marking(fitted, verdict):
    reading = Reading(quantity="current", value_si=fitted)
    assert judge("fuse_rating", reading, Known(marked_ampere=3.0)) == verdict


def test_a_fuse_without_a_marking_is_not_judged():
    with pytest.raises(ValueError, match="marking"):
        judge("fuse_rating", Reading(quantity="current", value_si=3.0), Known())


@given(st.floats(0, 1e4), st.floats(0, 1e4))
def test_more_ohms_never_look_more_like_a_short(one, other):
    order = VERDICTS["terminal_ohms"]
    low, high = sorted((one, other))
    verdicts = [judge("terminal_ohms", ohms(v), COOLING) for v in (low, high)]
    assert order.index(verdicts[0]) <= order.index(verdicts[1])


@given(st.lists(st.text(min_size=1), unique=True))
def test_the_fixed_sweep_takes_each_once_in_order(names):
    done: dict[str, str] = {}
    while (name := fixed_sweep(names, done)) is not None:
        done[name] = "fits"
    assert list(done) == names
