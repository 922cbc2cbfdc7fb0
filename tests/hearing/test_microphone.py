"""The microphone's queue and gate, fed as a device would feed them; and the device itself."""

import threading
from collections.abc import Callable
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import AudioError, NoMicrophone
from companion.hearing import microphone
from companion.hearing.microphone import Intake, Microphone
from companion.hearing.recogniser import Recogniser
from companion.hearing.spoken import SpokenEars

from .conftest import RATE, Sound, quiet

BLOCK = 640


class Desk(Intake):
    """An intake without a device: sound is laid on the desk by the test."""

    kind: Literal["microphone"] = "microphone"

    def lay(self, sound: Sound) -> None:
        pcm = (np.clip(sound, -1, 1) * 32767).astype(np.int16)
        for start in range(0, len(pcm), BLOCK):
            self.give(pcm[start : start + BLOCK].tobytes())


def test_it_hears_the_technician_and_not_itself(
    recogniser: Recogniser, technician: Callable[[str], Sound]
) -> None:
    desk = Desk(RATE, 1)
    ears = SpokenEars(recogniser, desk)
    desk.lay(np.concatenate([quiet(0.3), technician("yes"), quiet(1)]))
    first = ears.listen(["yes", "open line"])
    assert first is not None
    assert first.text == "yes"
    desk.pause()
    prompt = technician("zero point five ohms")
    desk.lay(prompt)
    desk.resume()
    # The last of the prompt comes back from the wall after the loudspeaker has stopped.
    echo = 0.3 * prompt[-3000:]
    desk.lay(np.concatenate([echo, quiet(0.4), technician("open line"), quiet(2)]))
    heard = ears.listen(["yes", "open line", "zero point five ohms"])
    assert heard is not None
    assert heard.text == "open line"
    before_s = (len(technician("yes")) + len(prompt) + len(echo)) / RATE + 0.3 + 1 + 0.4
    assert heard.words[0].start_s == pytest.approx(before_s, abs=0.35)


@given(st.lists(st.sampled_from(["give", "pause", "resume", "read"]), max_size=120))
def test_only_sound_from_while_the_gate_was_open_comes_out(steps: list[str]) -> None:
    intake = Intake(RATE, 1)
    open_, deaf, given_count = True, 0, 0
    waiting: list[int] = []
    for step in steps:
        if step == "give":
            intake.give(bytes(2 * BLOCK))
            if open_ and deaf <= 0:
                waiting.append(given_count)
            elif open_:
                deaf -= BLOCK
            given_count += 1
        elif step == "pause":
            intake.pause()
            open_, waiting = False, []
        elif step == "resume":
            intake.resume()
            open_, deaf = True, RATE // 4
        elif waiting:
            block = intake.read()
            assert block is not None
            assert block.start_s == pytest.approx(waiting.pop(0) * BLOCK / RATE)
            assert len(block.samples) == BLOCK
    assert intake.dropped_blocks == 0


def test_what_nobody_fetches_is_bounded_and_counted() -> None:
    intake = Intake(RATE, 1)
    for _ in range(500):  # twenty seconds
        intake.give(bytes(2 * BLOCK))
    assert intake.dropped_blocks == 250
    intake.give(bytes(2 * BLOCK), overflowed=True)
    assert intake.dropped_blocks == 252
    starts = [block.start_s for _ in range(250) if (block := intake.read())]
    assert starts == pytest.approx([n * BLOCK / RATE for n in range(250)])


def test_a_stereo_device_at_its_own_rate_is_heard_right() -> None:
    intake = Intake(48_000, 2)
    time = np.arange(48_000) / 48_000
    left, right = 0.6 * np.sin(2 * np.pi * 500 * time), 0.2 * np.sin(2 * np.pi * 500 * time)
    pcm = (np.column_stack([left, right]) * 32767).astype(np.int16)
    for start in range(0, 48_000, 1920):
        intake.give(pcm[start : start + 1920].tobytes())
    blocks = [block for _ in range(24) if (block := intake.read())]
    sound = np.concatenate([block.samples for block in blocks])[2000:14000] / 32768
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    assert spectrum.argmax() * RATE / len(sound) == pytest.approx(500, abs=2)
    assert np.sqrt(np.mean(sound**2)) == pytest.approx(0.4 / np.sqrt(2), rel=0.02)


def test_a_device_that_falls_silent_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(microphone, "_SILENT_S", 0.2)
    intake = Intake(RATE, 1)
    intake.give(bytes(2 * BLOCK))
    assert intake.read() is not None
    with pytest.raises(AudioError, match=r"gives no more sound.*Plug it in again"):
        intake.read()


def test_closing_ends_the_wait_of_a_reader() -> None:
    intake, got = Intake(RATE, 1), []
    reader = threading.Thread(target=lambda: got.append(intake.read()))
    reader.start()
    intake.close()
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
        device.pause()
        device.resume()
    finally:
        device.close()
    assert block is not None
    assert 0 < len(block.samples) <= RATE // 10
    assert device.read() is None
