"""The shipped model hears held-out synthetic voices, and hears no words where there are none."""

import csv
import subprocess
import sys
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
import soundfile

from models.measure.clips import RATE, Clip, Samples
from models.measure.engines import VoskModel
from models.measure.latency import delays_s
from models.measure.lists import Step, steps, taken
from models.recipe.build import SHIPPED

CLIPS = Path(__file__).with_name("clips")
STEPS = steps()
ASKED = ("ohms", "volts", "answers", "safety", "terminals")


def rows() -> Iterator[dict[str, str]]:
    with (CLIPS / "manifest.tsv").open(encoding="utf-8") as file:
        yield from csv.DictReader(file, delimiter="\t")


def samples_of(name: str) -> Samples:
    """A clip with half a second of faint noise after it, as a microphone would go on."""
    sound, rate = soundfile.read(CLIPS / name, dtype="int16")
    assert rate == RATE
    quiet = np.random.default_rng(1).normal(0, 8, RATE // 2).round().astype(np.int16)
    return np.concatenate([sound, quiet])


def step_of(row: dict[str, str]) -> Step:
    """The step that a clip was spoken for."""
    reading = "volts" if row["transcript"].endswith("volts") else "ohms"
    return STEPS[{"reading": reading, "terminal": "ohms", "answer": "answers"}[row["step"]]]


@pytest.fixture(scope="module")
def model() -> VoskModel:
    return VoskModel(SHIPPED)


SPOKEN = [row for row in rows() if row["step"] != "oov"]
OUTSIDE = [row for row in rows() if row["step"] == "oov"]


@pytest.mark.parametrize("row", SPOKEN, ids=[row["transcript"] for row in SPOKEN])
def test_a_held_out_voice_is_heard(model: VoskModel, row: dict[str, str]) -> None:
    step = step_of(row)
    heard = model.hear(samples_of(row["file"]), [*step.phrases, row["transcript"]])
    assert step.tokens(heard.text) == step.tokens(row["transcript"])


@pytest.mark.parametrize("row", OUTSIDE, ids=[row["transcript"] for row in OUTSIDE])
@pytest.mark.parametrize("name", ASKED)
def test_speech_outside_the_list_means_nothing(
    model: VoskModel, row: dict[str, str], name: str
) -> None:
    heard = model.hear(samples_of(row["file"]), STEPS[name].phrases)
    assert not taken(STEPS[name].meaning(heard.text))


def noise(kind: str) -> Samples:
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
@pytest.mark.parametrize("name", ASKED)
def test_no_word_is_put_into_noise(model: VoskModel, kind: str, name: str) -> None:
    heard = model.hear(noise(kind), STEPS[name].phrases)
    assert not taken(STEPS[name].meaning(heard.text))


def test_words_come_soon_after_the_end_of_speech(model: VoskModel) -> None:
    """With silence alone, and sooner where nothing can follow."""
    said = ("twenty", "eight", "volts")
    samples, _ = soundfile.read(CLIPS / "twenty-eight-volts.flac", dtype="int16")
    clip = Clip("twenty-eight-volts.flac", said, "reading", "bf_emma", samples)
    (patient,) = delays_s(model.recogniser, [clip], STEPS["volts"], early=False)
    (early,) = delays_s(model.recogniser, [clip], STEPS["volts"], early=True)
    assert early <= 0.6
    assert early < patient <= 1.1


def test_the_folder_is_small() -> None:
    files = [path for path in SHIPPED.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) <= 12_000_000
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
