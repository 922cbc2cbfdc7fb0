"""What the sound check says of what it measured, and which device is remembered."""

from __future__ import annotations

import numpy as np
import pytest

from companion.asleep import Asleep
from companion.check import ASKED, Found, _round_trip, advice, report
from companion.sound_choice import chosen

WELL = Found(
    microphone="headset", loudspeaker=True, floor_dbfs=-70.0, speech_dbfs=-30.0, heard=ASKED,
    round_trip_s=0.12,
)  # fmt: skip


def but(**changes: object) -> Found:
    return Found(**{**WELL.__dict__, **changes})


def test_nothing_to_mend_where_all_is_well() -> None:
    assert advice(WELL) == []
    text = "\n".join(report(WELL))
    assert "headset" in text
    assert "40 dB" in text
    assert "120 ms" in text


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (Found(), "no microphone"),
        (but(loudspeaker=False), "No sound comes out"),
        (but(speech_dbfs=None, heard=None), "muted"),
        (but(clipped=3), "Too loud"),
        (but(speech_dbfs=-60.0, floor_dbfs=-90.0), "Too faint"),
        (but(floor_dbfs=-42.0), "Noisy"),
        (but(floor_dbfs=-35.0), "Far too noisy"),
        (but(heard="forty"), "forty"),
        (but(dropped=4), "lost"),
        (but(round_trip_s=0.6), "slow"),
    ],
)
def test_each_fault_is_told_in_plain_words(found: Found, told: str) -> None:
    assert any(told in line for line in advice(found))
    assert report(found)


def test_round_trip_is_from_sending_to_hearing() -> None:
    floor = 1e-8
    blocks = [(n * 0.04, 1e-4 if n > 10 else floor) for n in range(20)]
    assert _round_trip(0.2, blocks, floor) == pytest.approx(0.24)
    assert _round_trip(0.2, [(at, floor) for at, _ in blocks], floor) is None


def test_a_device_is_remembered_until_default(monkeypatch, tmp_path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert chosen(None) is None
    assert chosen("headset") == "headset"
    assert chosen(None) == "headset"
    assert chosen("default") is None
    assert chosen(None) is None
    (tmp_path / "companion" / "sound.json").write_text("[1, 2")
    assert chosen(None) is None


def test_sleep_is_told_from_a_clock_that_was_set(monkeypatch) -> None:
    slept = np.float64(0.0)
    monkeypatch.setattr("companion.asleep.time.clock_gettime", lambda _: 1000.0 + slept)
    monkeypatch.setattr("companion.asleep.time.monotonic", lambda: 900.0)
    monkeypatch.setattr("companion.asleep.time.time", lambda: 5e9)  # not asked on Linux
    asleep = Asleep()
    assert asleep.since_last_asked_s() == 0
    slept += 3600
    assert asleep.since_last_asked_s() == 3600
    assert asleep.since_last_asked_s() == 0
