"""The shipped model hears held-out synthetic voices, and hears no words where there are none."""

import csv
import json
import subprocess
import sys
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
import soundfile
import vosk

from models.recipe import steps
from models.recipe.build import SHIPPED
from models.recipe.evaluate import RATE, recognise

CLIPS = Path(__file__).with_name("clips")
LISTS = {"reading": steps.reading(), "terminal": steps.terminal(), "answer": steps.answer()}
LISTS["answer"].append("breaker holds")


def rows() -> Iterator[dict[str, str]]:
    with (CLIPS / "manifest.tsv").open(encoding="utf-8") as file:
        yield from csv.DictReader(file, delimiter="\t")


def samples_of(name: str) -> "np.ndarray[tuple[int], np.dtype[np.int16]]":
    """A clip with half a second of faint noise after it, as a microphone would go on."""
    sound, rate = soundfile.read(CLIPS / name, dtype="int16")
    assert rate == RATE
    quiet = np.random.default_rng(1).normal(0, 8, RATE // 2).round().astype(np.int16)
    return np.concatenate([sound, quiet])


@pytest.fixture(scope="module")
def model() -> vosk.Model:
    vosk.SetLogLevel(-1)
    return vosk.Model(str(SHIPPED))


SPOKEN = [row for row in rows() if row["step"] != "oov"]
OUTSIDE = [row for row in rows() if row["step"] == "oov"]


@pytest.mark.parametrize("row", SPOKEN, ids=[row["transcript"] for row in SPOKEN])
def test_a_held_out_voice_is_heard(model: vosk.Model, row: dict[str, str]) -> None:
    heard = recognise(model, samples_of(row["file"]), json.dumps(LISTS[row["step"]]))
    assert heard.words == tuple("o" if word == "oh" else word for word in row["transcript"].split())


@pytest.mark.parametrize("row", OUTSIDE, ids=[row["transcript"] for row in OUTSIDE])
@pytest.mark.parametrize("step", sorted(LISTS))
def test_speech_outside_the_list_gives_none_of_its_words(
    model: vosk.Model, row: dict[str, str], step: str
) -> None:
    heard = recognise(model, samples_of(row["file"]), json.dumps(LISTS[step]))
    assert heard.accepted == ()


def noise(kind: str) -> "np.ndarray[tuple[int], np.dtype[np.int16]]":
    """Two seconds without speech."""
    rng, time = np.random.default_rng(5), np.arange(2 * RATE) / RATE
    if kind == "digital silence":
        sound = np.zeros(2 * RATE)
    elif kind == "quiet room":
        sound = rng.normal(0, 6, 2 * RATE)
    elif kind == "fan":
        spectrum = np.fft.rfft(rng.normal(0, 1, 2 * RATE))
        dull = np.maximum(np.fft.rfftfreq(2 * RATE, 1 / RATE), 80.0) ** -0.8
        sound = np.fft.irfft(spectrum * dull)
        sound = sound / sound.std() * 900
    else:
        sound = 700 * sum(np.sin(2 * np.pi * 60 * k * time) / k for k in (1, 2, 3, 5))
        sound = sound + rng.normal(0, 20, 2 * RATE)
    return np.asarray(np.round(sound), np.int16)


@pytest.mark.parametrize("kind", ["digital silence", "quiet room", "fan", "mains hum"])
@pytest.mark.parametrize("step", sorted(LISTS))
def test_no_word_is_put_into_noise(model: vosk.Model, kind: str, step: str) -> None:
    heard = recognise(model, noise(kind), json.dumps(LISTS[step]))
    assert heard.accepted == ()


def test_an_utterance_ends_soon_after_its_last_word(model: vosk.Model) -> None:
    """The reading is final within a second of quiet, without asking for the final result."""
    sound = samples_of("twenty-eight-volts.flac")
    quiet = np.random.default_rng(2).normal(0, 8, RATE).round().astype(np.int16)
    recogniser = vosk.KaldiRecognizer(model, RATE, json.dumps(LISTS["reading"]))
    whole = np.concatenate([sound, quiet])
    block = RATE // 50
    for at in range(0, len(whole), block):
        if recogniser.AcceptWaveform(whole[at : at + block].tobytes()):
            said = len(sound) - RATE // 2 - RATE // 5  # where the speech itself stops, about
            assert at + block - said <= 1.0 * RATE
            assert json.loads(recogniser.Result())["text"] == "twenty eight volts"
            return
    pytest.fail("the recogniser never found the end")


def test_the_folder_is_small() -> None:
    files = [path for path in SHIPPED.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) <= 15_000_000
    assert {"am", "conf", "graph", "hearing.toml"} <= {path.name for path in SHIPPED.iterdir()}


_HEAR = """
import json, sys
from pathlib import Path
import soundfile, vosk
vosk.SetLogLevel(-1)
sound, rate = soundfile.read(sys.argv[2], dtype="int16")
recogniser = vosk.KaldiRecognizer(vosk.Model(sys.argv[1]), rate, '["umbrella", "stop", "[unk]"]')
recogniser.AcceptWaveform(sound.tobytes() + bytes(16000))
print(json.loads(recogniser.FinalResult())["text"])
"""


def test_a_new_word_needs_one_line_and_a_new_graph(tmp_path: Path) -> None:
    if find_spec("kaldifst") is None:
        pytest.skip("kaldifst compiles the graphs; it is in the test extra")
    root = Path(__file__).parents[2]
    for part in ("am", "conf"):
        (tmp_path / part).symlink_to(SHIPPED / part)
    words = (root / "models" / "lexicon.txt").read_text("utf-8")
    added = tmp_path / "lexicon.txt"
    added.write_text(f"{words}umbrella AH M B R EH L AH\n", "utf-8")
    # kaldifst and vosk can't share a process: each carries OpenFst.
    options = ["--add-words", "--lexicon", str(added), "--out", str(tmp_path)]
    build = [sys.executable, "-m", "models.recipe.build", *options]
    subprocess.run(build, check=True, cwd=root, capture_output=True)
    hear = [sys.executable, "-c", _HEAR, str(tmp_path), str(CLIPS / "umbrella.flac")]
    heard = subprocess.run(hear, check=True, capture_output=True, text=True)
    assert heard.stdout.strip() == "umbrella"
