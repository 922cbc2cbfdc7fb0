"""Playing a prompt, on machines with a loudspeaker and on machines without."""

import threading
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from companion.errors import AudioError
from companion.speaking.playback import _ready, play, why_silent


@pytest.fixture
def hum(tmp_path: Path) -> Path:
    path = tmp_path / "hum.wav"
    soundfile.write(path, 0.05 * np.sin(np.arange(22050 * 30) / 9), 22050)
    return path


def test_says_in_one_line_why_nothing_is_heard_or_plays(hum: Path) -> None:
    why = why_silent()
    assert why is None or ("\n" not in why and why.startswith("No sound is played:"))
    stop = threading.Event()
    threading.Timer(0.3, stop.set).start()
    began = time.monotonic()
    assert play(hum, stop) == (why is None)
    assert time.monotonic() - began < 5  # of thirty seconds, and some devices wake slowly


def test_a_prompt_is_played_whole_and_without_the_wait_after_it() -> None:
    speech = 0.3 * np.sin(np.arange(1, 48_001) / 9, dtype=np.float32)
    for trailing_s in (0.0, 0.05, 0.5):
        silence = np.full(round(trailing_s * 48_000), 0.0005, np.float32)
        pcm = _ready(np.concatenate([speech, silence]), 48_000)
        assert len(pcm) == pytest.approx(1.12 * 48_000, abs=48)
        assert np.allclose(pcm[:47_900] / 32767, speech[:47_900], atol=1e-4)
    assert not _ready(np.zeros(4800, np.float32), 48_000).any()


def test_a_prompt_that_is_gone_is_an_error_and_not_silence(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="can't be played"):
        play(tmp_path / "none.wav", threading.Event())
