"""The voice: real speech from real engines, and what happens when one fails."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import espeakng_loader
import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import VoiceError
from companion.speaking import child, engine
from companion.speaking.exchange import Request
from companion.speaking.voice import MutedVoice, SpokenVoice, _Child

QUESTION = "Put one lead on C and the other on Y one. What does it read?"


@pytest.fixture(scope="module")
def voice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SpokenVoice]:
    spoken = SpokenVoice(tmp_path_factory.mktemp("prompts"))
    yield spoken
    spoken.close()


def seconds(wav: Path | None) -> float:
    assert wav is not None
    return float(soundfile.info(wav).duration)


@pytest.mark.parametrize("name", ["any", "bundled"])
def test_each_engine_speaks_a_whole_question(tmp_path: Path, name: engine.EngineName) -> None:
    spoken = SpokenVoice(tmp_path, engine=name)
    wav = spoken.say(QUESTION)
    spoken.close()
    assert wav == tmp_path / "prompt-0001.wav"
    samples, rate = soundfile.read(wav)
    assert samples.ndim == 1
    # Fourteen words at 165 a minute take 5.1 s; engines differ in their pauses.
    assert 3.0 < len(samples) / rate < 7.0
    assert np.sqrt(np.mean(samples**2)) > 0.01
    assert not list(tmp_path.glob("*.part"))


def test_the_bundled_engine_speaks_from_a_deep_installation(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deep = tmp_path / ("d" * 100) / ("e" * 100)
    shutil.copytree(Path(espeakng_loader.get_data_path()).parent, deep / "espeakng_loader")
    monkeypatch.setenv("PYTHONPATH", str(deep))
    monkeypatch.chdir(tmp_path)
    spoken = SpokenVoice(Path("prompts"), engine="bundled")
    assert seconds(spoken.say(QUESTION)) > 3.0
    spoken.close()
    assert (tmp_path / "prompts" / "prompt-0001.wav").exists()


def test_the_first_prompt_already_has_the_rate_asked_for(tmp_path: Path) -> None:
    lengths = {}
    for rate in (120, 240):
        spoken = SpokenVoice(tmp_path, rate=rate)
        lengths[rate] = [seconds(spoken.say(QUESTION)) for _ in range(2)]
        spoken.close()
    for first, second in lengths.values():
        assert first == pytest.approx(second, rel=0.1)
    assert lengths[120][0] > 1.4 * lengths[240][0]


def test_each_prompt_is_the_one_asked_for(voice: SpokenVoice) -> None:
    texts = ["Yes.", QUESTION, "Yes.", "zero point five ohms", QUESTION, 'He said "OL"\nto Ω.']
    wavs = [voice.say(text) for text in texts]
    assert len(set(wavs)) == len(texts)
    lengths = [seconds(wav) for wav in wavs]
    # An engine varies its pauses a little; a prompt said twice or left out would double or vanish.
    assert lengths[0] == pytest.approx(lengths[2], rel=0.15)
    assert lengths[1] == pytest.approx(lengths[4], rel=0.15)
    assert lengths[0] < lengths[3] < lengths[1]


# Text to eSpeak's own phonemes, in a process of its own as the engine starts only once in one.
PHONEMES = """
import ctypes, os, sys, espeakng_loader as bundled
library = ctypes.CDLL(bundled.get_library_path())
library.espeak_Initialize(2, 0, os.path.dirname(bundled.get_data_path()).encode(), 0)
assert library.espeak_SetVoiceByName(b"gmw/en-us") == 0
library.espeak_TextToPhonemes.restype = ctypes.c_char_p
text = ctypes.c_char_p(sys.argv[1].encode())
print(library.espeak_TextToPhonemes(ctypes.byref(text), 1, 2).decode())
"""


def phonemes(text: str) -> str:
    """International phonetic alphabet without stress marks."""
    command = [sys.executable, "-c", PHONEMES, engine.respelled(text)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return done.stdout.strip().replace("ˈ", "").replace("ˌ", "")


@pytest.mark.parametrize(
    ("word", "sounds"),
    [
        ("Y", "waɪ"),
        ("C", "siː"),
        ("R to C", "ɑːɹ tə siː"),
        ("W one", "dʌbəljuː wʌn"),
        ("O L", "oʊ ɛl"),
        ("O B", "oʊ biː"),
        ("two kilohms", "tuː kɪloʊmz"),
        ("Kilohm", "kɪloʊm"),
        ("megohms", "mɛɡoʊmz"),
        ("twenty four volts", "twɛnti fɔːɹ voʊlts"),
    ],
)
def test_letters_and_units_come_out_as_the_trade_says_them(word: str, sounds: str) -> None:
    assert phonemes(word) == sounds


def test_the_engine_is_given_its_own_spelling(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = []

    def write(_: object, text: str, path: Path, limit_s: float) -> None:
        given.append(text)
        soundfile.write(path, np.zeros(9), 22050, format="WAV")

    monkeypatch.setattr(engine, "write", write)
    for espeak in (True, False):
        monkeypatch.setattr(engine, "speaks_espeak", lambda _, espeak=espeak: espeak)
        child._speak(None, Request(text="one kilohm", path=tmp_path / "p.wav"), 1.0)
    assert given == ["one killohm", "one kilohm"]


def test_nothing_to_say_makes_no_sound(voice: SpokenVoice) -> None:
    assert voice.say(" \n") is None
    assert MutedVoice().say(QUESTION) is None


def test_a_hanging_engine_is_ended_and_a_fresh_one_says_it(tmp_path: Path) -> None:
    spoken = SpokenVoice(tmp_path, limit_s=1.0)
    assert spoken._child is not None
    process = spoken._child._process
    os.kill(process.pid, signal.SIGSTOP)
    began = time.monotonic()
    assert seconds(spoken.say(QUESTION)) > 3.0
    assert time.monotonic() - began < 6.0
    assert process.poll() is not None
    spoken.close()


def test_engines_that_hang_one_after_the_other_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoken = SpokenVoice(tmp_path, limit_s=0.2)
    started = spoken._started

    def hanging() -> _Child:
        fresh = started()
        os.kill(fresh._process.pid, signal.SIGSTOP)
        return fresh

    monkeypatch.setattr(spoken, "_started", hanging)
    assert spoken._child is not None
    os.kill(spoken._child._process.pid, signal.SIGSTOP)
    with pytest.raises(VoiceError, match="hung and was ended"):
        spoken.say(QUESTION)
    spoken.close()


def test_an_engine_that_died_between_prompts_is_replaced(tmp_path: Path) -> None:
    spoken = SpokenVoice(tmp_path)
    spoken.say("Yes.")
    assert spoken._child is not None
    os.kill(spoken._child._process.pid, signal.SIGKILL)
    spoken._child._process.wait()
    assert spoken.say("Yes.") == tmp_path / "prompt-0002.wav"
    spoken.close()


def test_a_folder_that_went_away_is_told_and_not_waited_for(tmp_path: Path) -> None:
    folder = tmp_path / "card"
    spoken = SpokenVoice(folder, limit_s=0.3)
    folder.rmdir()
    with pytest.raises(VoiceError, match="failed"):
        spoken.say("Yes.")
    spoken.close()


def test_a_folder_that_cannot_be_one_is_refused_at_once(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(VoiceError, match="can't be written to"):
        SpokenVoice(tmp_path / "file" / "prompts")


def test_numbers_go_on_in_a_call_that_goes_on(tmp_path: Path) -> None:
    (tmp_path / "prompt-0041.wav").write_bytes(b"kept")
    spoken = SpokenVoice(tmp_path)
    assert spoken.say("Yes.") == tmp_path / "prompt-0042.wav"
    spoken.close()
    assert (tmp_path / "prompt-0041.wav").read_bytes() == b"kept"


def test_sound_in_another_format_becomes_wav(tmp_path: Path) -> None:
    samples = (np.sin(np.arange(2205) / 7) * 9000).astype(np.int16)
    path = tmp_path / "prompt.part"
    soundfile.write(path, samples, 22050, format="AIFF", subtype="PCM_16")
    assert engine.whole_sound(path)
    child._as_wav(path)
    assert path.read_bytes()[:4] == b"RIFF"
    assert np.array_equal(soundfile.read(path, dtype="int16")[0], samples)


@given(share=st.floats(0, 0.999))
def test_half_a_file_is_never_taken_for_a_whole_one(voice: SpokenVoice, share: float) -> None:
    whole = voice._folder / "whole.wav"
    if not whole.exists():
        wav = voice.say("Yes.")
        assert wav is not None
        whole.write_bytes(wav.read_bytes())
    data = whole.read_bytes()
    cut = voice._folder / "cut.wav"
    cut.write_bytes(data[: int(share * len(data))])
    assert engine.whole_sound(whole)
    assert not engine.whole_sound(cut)
    assert not engine.whole_sound(voice._folder / "none.wav")
