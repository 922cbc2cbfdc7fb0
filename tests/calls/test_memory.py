"""How much memory a whole call takes; the table of all is a command."""

from __future__ import annotations

import pytest

from tests.calls.memory import typed
from tests.peak import STATUS

LARGEST = "big house"  # a two-stage heat pump, the equipment with most hypotheses and tests
MOST_MB = 160.0
"""Of the 200 MB that a call may take, the speech model takes some 40."""


@pytest.mark.skipif(not STATUS.exists(), reason="Linux tells a process's peak there")
def test_a_call_on_the_largest_equipment_leaves_room_for_the_speech_model():
    peak = typed(LARGEST)
    assert peak.status == 0
    assert peak.mb < MOST_MB
