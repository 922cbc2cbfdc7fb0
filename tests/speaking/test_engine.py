"""The engine under the voice: what is missing is told, and pace and prompts come whole."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from companion.errors import VoiceError
from companion.speaking import engine

QUESTION = "Put one lead on C and the other on Y one. What does it read?"


@pytest.mark.skipif(sys.platform != "linux", reason="other systems bring a voice of their own")
def test_without_any_engine_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "espeakng_loader", None)
    with pytest.raises(VoiceError, match=r"pip install 'companion\[voice\]'.*espeak-ng"):
        engine.start("bundled", 165)


PACE_STILL_BEING_TAKEN = """
import itertools, sys, time
from pathlib import Path
from companion.speaking import engine
spoken = engine.start("bundled", int(sys.argv[1]))
pace = spoken.getProperty("rate")
# The driver now finds its thread at work when it ends a loop, as on a busy machine it does.
from pyttsx3.drivers import _espeak
at_work = itertools.chain(sys.argv[2], itertools.repeat("0"))
_espeak.IsPlaying = lambda: int(next(at_work))
began = time.monotonic()
for number in range(3):
    engine.write(spoken, sys.argv[4], Path(sys.argv[3]) / f"{number}.wav", 1.5)
print(pace, time.monotonic() - began, file=sys.stderr)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="other systems' engines have no such thread")
@pytest.mark.parametrize(("pace", "at_work"), [(120, "0"), (165, "1"), (120, "11")])
def test_a_prompt_is_whole_and_at_its_pace_while_the_pace_is_still_being_taken(
    tmp_path: Path, pace: int, at_work: str
) -> None:
    child = subprocess.run(
        [sys.executable, "-c", PACE_STILL_BEING_TAKEN, str(pace), at_work, str(tmp_path), QUESTION],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, timeout=30,
    )  # fmt: skip
    assert child.returncode == 0, child.stderr
    taken, took_s = child.stderr.split()
    assert int(taken) == pace
    assert float(took_s) < 1.0
    # All fourteen words, give or take the pauses after two sentences.
    for number in range(3):
        length_s = soundfile.info(tmp_path / f"{number}.wav").duration
        assert 0.8 < length_s * pace / 60 / 14 < 1.2, (number, length_s)


class CuttingEngine:
    """An engine that stops itself some times, as pyttsx3 tells it, before it speaks to the end."""

    def __init__(self, times: int, share: float) -> None:
        self._cuts, self._share = times, share
        self._finished: list[Callable[..., None]] = []

    def connect(self, topic: str, finished: Callable[..., None]) -> Callable[..., None]:
        assert topic == "finished-utterance"
        self._finished.append(finished)
        return finished

    def disconnect(self, finished: Callable[..., None]) -> None:
        self._finished.remove(finished)

    def save_to_file(self, text: str, path: str) -> None:
        self._path, self._length = path, 1000 * len(text)

    def runAndWait(self) -> None:  # noqa: N802 - pyttsx3's name
        cut, self._cuts = self._cuts > 0, self._cuts - 1
        made = int(self._length * self._share) if cut else self._length
        soundfile.write(self._path, np.ones(made, np.int16), 22050, format="WAV")
        for finished in self._finished:
            finished(name=None, completed=not cut)


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("times", [0, 1, 2])
def test_what_the_engine_cut_is_spoken_again(tmp_path: Path, times: int, share: float) -> None:
    cutting = CuttingEngine(times, share)
    engine.write(cutting, QUESTION, tmp_path / "made.wav", 0.5)
    assert soundfile.info(tmp_path / "made.wav").frames == 1000 * len(QUESTION)
    assert not cutting._finished


def test_an_engine_that_always_cuts_is_given_up(tmp_path: Path) -> None:
    with pytest.raises(TimeoutError):
        engine.write(CuttingEngine(10**9, 0.5), QUESTION, tmp_path / "made.wav", 0.1)
