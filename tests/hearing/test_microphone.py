"""The microphone's queue, level and gain, fed as by a device; and the device itself."""

import threading

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import NoMicrophone
from companion.hearing import intake
from companion.hearing.intake import Intake
from companion.hearing.level import Gain, dbfs
from companion.hearing.microphone import Microphone

from .conftest import RATE

BLOCK = 640


def test_what_nobody_fetches_is_bounded_and_counted() -> None:
    sound = Intake(RATE, 1)
    for _ in range(500):  # twenty seconds
        sound.give(bytes(2 * BLOCK))
    assert sound.dropped_blocks == 250
    sound.give(bytes(2 * BLOCK), overflowed=True)
    assert sound.dropped_blocks == 252
    starts = [block.start_s for _ in range(250) if (block := sound.read())]
    assert starts == pytest.approx([n * BLOCK / RATE for n in range(250)])


def test_a_stereo_device_at_its_own_rate_is_heard_right() -> None:
    sound = Intake(48_000, 2)
    time = np.arange(48_000) / 48_000
    left, right = 0.6 * np.sin(2 * np.pi * 500 * time), 0.2 * np.sin(2 * np.pi * 500 * time)
    pcm = (np.column_stack([left, right]) * 32767).astype(np.int16)
    for start in range(0, 48_000, 1920):
        sound.give(pcm[start : start + 1920].tobytes())
    blocks = [block for _ in range(24) if (block := sound.read())]
    heard = np.concatenate([block.samples for block in blocks])[2000:14000] / 32768
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    assert spectrum.argmax() * RATE / len(heard) == pytest.approx(500, abs=2)
    assert np.sqrt(np.mean(heard**2)) == pytest.approx(0.4 / np.sqrt(2), rel=0.02)


def test_a_device_that_falls_silent_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intake, "SILENT_S", 0.2)
    sound = Intake(RATE, 1)
    sound.give(bytes(2 * BLOCK))
    assert sound.read() is not None
    with pytest.raises(TimeoutError):
        sound.read()


def test_time_runs_evenly_whatever_the_resampler_gives() -> None:
    """An echo canceller needs each block's time to a sample, not to a block."""
    sound = Intake(44_100, 1)
    noise = np.random.default_rng(2).normal(0, 1000, 44_100 * 2).astype(np.int16)
    for start in range(0, len(noise), 1764):
        sound.give(noise[start : start + 1764].tobytes())
    blocks = [block for _ in range(40) if (block := sound.read())]
    steps = np.diff([block.start_s for block in blocks])
    assert steps == pytest.approx([len(block.samples) / RATE for block in blocks[:-1]])
    assert len({len(block.samples) for block in blocks}) > 1


def test_sound_that_the_device_lost_does_not_put_all_later_sound_early(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Early by as much as was lost, the canceller would look for an echo before its sound."""
    now_s = 100.0
    monkeypatch.setattr(intake.time, "monotonic", lambda: now_s)
    sound, lost_s = Intake(RATE, 1), 0.2
    for number in range(20):
        now_s += BLOCK / RATE + (lost_s if number == 10 else 0.0)
        sound.give(bytes(2 * BLOCK), overflowed=number == 10)
    *_, last = (block for _ in range(20) if (block := sound.read()))
    assert last.at_s == pytest.approx(now_s - BLOCK / RATE, abs=0.002)


@given(st.floats(-80, -1), st.floats(0.2, 3))
def test_gain_helps_the_faint_and_never_clips(level: float, seconds: float) -> None:
    gain, rng = Gain(), np.random.default_rng(3)
    for _ in range(25):
        gain(rng.normal(0, 10 ** (-85 / 20), BLOCK).astype(np.float32), 0.04)
    speech = rng.normal(0, 10 ** (level / 20), BLOCK).astype(np.float32).clip(-1, 1)
    for _ in range(round(seconds / 0.04)):
        out = gain(speech, 0.04)
        assert 0 <= gain.level.gain_db <= 24
        assert np.array_equal(out, speech) or dbfs(out) <= -19.9
    if level > -44:
        assert gain.level.gain_db == 0
    if -63 < level < -47 and seconds > 1.5:
        assert gain.level.gain_db > 5


def test_the_meter_tells_speech_from_floor() -> None:
    gain, rng = Gain(), np.random.default_rng(4)
    for n in range(200):
        level = -30 if n % 50 > 30 else -70
        gain(rng.normal(0, 10 ** (level / 20), BLOCK).astype(np.float32), 0.04)
    assert gain.level.floor_dbfs == pytest.approx(-70, abs=3)
    assert gain.level.speech_dbfs == pytest.approx(-30, abs=2)
    assert gain.level.clipped == 0
    gain(np.full(BLOCK, 1.0, np.float32), 0.04)
    assert gain.level.clipped == 1


def test_closing_ends_the_wait_of_a_reader() -> None:
    sound, got = Intake(RATE, 1), []
    reader = threading.Thread(target=lambda: got.append(sound.read()))
    reader.start()
    sound.close()
    reader.join(timeout=1)
    assert got == [None]


def test_this_computer_has_a_microphone_or_says_what_to_do() -> None:
    try:
        device = Microphone()
    except NoMicrophone as error:
        refusal: NoMicrophone | None = error
    else:
        refusal = None
    if refusal is not None:
        assert "libportaudio2" in refusal.do or "Plug one in" in refusal.do
        assert refusal.what.endswith(".")
        return
    try:
        block = device.read()
    finally:
        device.close()
    assert block is not None
    assert 0 < len(block.samples) <= RATE // 10
    assert device.read() is None
