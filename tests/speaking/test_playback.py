"""Playing a prompt, on machines with a loudspeaker and on machines without."""

import itertools
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from companion.errors import AudioError
from companion.speaking.earcons import CUES, RATE, earcon
from companion.speaking.mouth import Mouth
from companion.speaking.pacing import paced
from companion.speaking.playback import BLOCK_S, Loudspeaker, audible, load

BLOCK = round(RATE * BLOCK_S)


class Slow(Loudspeaker):
    """A loudspeaker without a device: it takes a sound as long as the sound is."""

    def __init__(self) -> None:
        super().__init__()
        self.played: list[np.ndarray] = []

    def why_silent(self) -> None:
        return None

    def play(self, mono, rate, cut, emitted=lambda at_s, frames: None) -> bool:
        self.played.append(mono[:0])
        for start in range(0, len(mono), BLOCK):
            if cut.is_set():
                break
            block = mono[start : start + BLOCK]
            emitted(time.monotonic(), len(block))
            self.played[-1] = np.concatenate([self.played[-1], block])
            time.sleep(BLOCK_S)
        return True

    def rest(self) -> bool:
        return False


@pytest.fixture
def hum(tmp_path: Path) -> Path:
    path = tmp_path / "hum.wav"
    soundfile.write(path, 0.05 * np.sin(np.arange(22050 * 30) / 9), 22050)
    return path


@pytest.fixture
def mouth():
    mouth = Mouth(Slow())
    yield mouth
    mouth.close()


def until(condition) -> None:
    limit = time.monotonic() + 5
    while not condition():
        assert time.monotonic() < limit
        time.sleep(0.005)


def test_says_in_one_line_why_nothing_is_heard_or_plays(hum: Path) -> None:
    loudspeaker = Loudspeaker()
    why = loudspeaker.why_silent()
    assert why is None or ("\n" not in why and why.startswith("No sound is played:"))
    cut = threading.Event()
    threading.Timer(0.3, cut.set).start()
    began = time.monotonic()
    assert loudspeaker.play(*load(hum), cut) == (why is None)
    loudspeaker.close()
    assert time.monotonic() - began < 5  # of thirty seconds, and some devices wake slowly


def test_a_name_that_no_loudspeaker_has_leaves_the_default() -> None:
    assert Loudspeaker("no such thing").why_silent() == Loudspeaker().why_silent()


def test_a_prompt_is_played_whole_and_without_the_wait_after_it() -> None:
    speech = 0.3 * np.sin(np.arange(1, 48_001) / 9, dtype=np.float32)
    for trailing_s in (0.0, 0.05, 0.5):
        silence = np.full(round(trailing_s * 48_000), 0.0005, np.float32)
        sound = audible(np.concatenate([speech, silence]), 48_000)
        assert len(sound) == pytest.approx(1.12 * 48_000, abs=48)
        assert np.array_equal(sound[:47_900], speech[:47_900])
    assert not audible(np.zeros(4800, np.float32), 48_000).any()


def test_a_prompt_that_is_gone_is_an_error_and_not_silence(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="can't be played"):
        load(tmp_path / "none.wav")


def test_a_cut_stops_within_a_block(mouth: Mouth, hum: Path) -> None:
    mouth.say(hum, "hum hum hum")
    until(lambda: mouth.busy(time.monotonic()) and mouth._loudspeaker.played)
    time.sleep(0.2)
    before = len(mouth._loudspeaker.played[0])
    mouth.cut()
    mouth.finish()
    assert len(mouth._loudspeaker.played[0]) - before <= 2 * BLOCK
    assert not mouth.busy(time.monotonic() + 0.1)


def test_it_knows_what_it_is_saying_and_with_what_sound(mouth: Mouth, tmp_path: Path) -> None:
    tone = 0.3 * np.sin(np.arange(RATE) / 5)
    soundfile.write(tmp_path / "p.wav", tone, RATE)
    began = time.monotonic()
    mouth.say(tmp_path / "p.wav", "power off and locked out")
    mouth.finish()
    assert {"power", "off"} <= mouth.words_between(began, began + 0.4)
    assert "out" not in mouth.words_between(began, began + 0.4)
    assert "out" in mouth.words_between(began + 0.8, began + 1.2)
    assert not mouth.words_between(began + 5, began + 6)
    heard = mouth.sound_between(began, RATE)
    assert np.abs(heard).max() == pytest.approx(0.3, abs=0.02)
    assert not mouth.sound_between(began - 5, RATE).any()


def test_a_newer_prompt_takes_the_place_of_an_older(mouth: Mouth, hum: Path) -> None:
    mouth.say(hum, "the old one")
    until(lambda: mouth._loudspeaker.played)
    mouth.cue("heard")
    mouth.say(hum, "the new one")
    until(lambda: len(mouth._loudspeaker.played) == 3)
    assert len(mouth._loudspeaker.played[0]) < RATE * 2
    assert np.array_equal(mouth._loudspeaker.played[1], earcon("heard"))
    mouth.cut()


def test_never_silent_for_two_seconds_while_thinking(mouth: Mouth) -> None:
    began = time.monotonic()
    with mouth.thinking():
        time.sleep(4.0)
    mouth.finish()
    held = [sound for sound in mouth._loudspeaker.played if len(sound) == len(earcon("hold"))]
    assert len(held) == 2
    assert time.monotonic() - began < 4.6


def test_earcons_are_short_soft_and_told_apart_by_rhythm() -> None:
    lengths = {}
    for cue in CUES:
        sound = earcon(cue)
        assert 0.05 < np.abs(sound).max() < 0.3
        assert np.abs(sound[[0, -1]]).max() < 0.01
        loud = np.abs(sound).reshape(-1, RATE // 100).max(axis=1) > 0.02
        lengths[cue] = (len(sound) / RATE, int(np.sum(np.diff(loud.astype(int)) == 1) + loud[0]))
    assert lengths["heard"][1] == 1
    assert lengths["not_heard"][1] == 2
    assert lengths["hold"][1] == 1
    assert lengths["hold"][0] > 3 * lengths["heard"][0]


def test_the_opening_is_three_strokes() -> None:
    """Told apart from the tones by its noise and from noise by its strokes."""
    brush = np.hanning(RATE // 10)
    level = np.convolve(np.square(earcon("opening")), brush / brush.sum(), "same")
    rising = np.diff(level) > 0
    crests = np.flatnonzero(rising[:-1] & ~rising[1:])
    crests = crests[level[crests] > 0.5 * level.max()]
    assert len(crests) == 3
    hollows = [level[one:another].min() for one, another in itertools.pairwise(crests)]
    assert max(hollows) < 0.5 * level[crests].min()


def test_the_opening_has_every_pitch_of_a_voice_in_it() -> None:
    power = np.square(np.abs(np.fft.rfft(earcon("opening"))))
    hz = np.fft.rfftfreq(len(earcon("opening")), 1 / RATE)
    octaves = [power[(low <= hz) & (hz < 2 * low)].sum() for low in (200, 400, 800, 1600, 3200)]
    assert min(octaves) > 0.1 * power.sum()


def test_words_are_paced_by_their_letters() -> None:
    said = paced("Stopped. Hands clear.", 2.0)
    assert [word.word for word in said] == ["stopped", "hands", "clear"]
    assert said[0].start_s == 0
    assert said[-1].end_s == pytest.approx(2.0, abs=0.11)
    assert all(a.end_s < b.start_s for a, b in itertools.pairwise(said))
