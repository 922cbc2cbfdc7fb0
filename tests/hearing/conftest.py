"""A technician to listen to: eSpeak NG's voice, put on tape with quiet around it."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from numpy.typing import NDArray

from companion.errors import ModelError
from companion.hearing.model_choice import find_model
from companion.hearing.recogniser import Recogniser
from companion.speaking.voice import SpokenVoice

RATE = 16_000
Sound = NDArray[np.float32]


@pytest.fixture(scope="session")
def model() -> Path:
    try:
        return find_model(None)
    except ModelError as error:
        pytest.skip(f"the speech model has not been put in place yet: {error.what}")


@pytest.fixture(scope="session")
def recogniser(model: Path) -> Recogniser:
    return Recogniser(model)


@pytest.fixture(scope="session")
def technician(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], Sound]]:
    """Says words: mono, 16 kHz, −1 … 1."""
    voice = SpokenVoice(tmp_path_factory.mktemp("said"), rate=140)
    spoken: dict[str, Sound] = {}

    def say(words: str) -> Sound:
        if words not in spoken:
            wav = voice.say(words)
            assert wav is not None
            samples, rate = soundfile.read(wav, dtype="float32")
            spoken[words] = soxr.resample(samples, rate, RATE)
        return spoken[words]

    yield say
    voice.close()


def quiet(seconds: float) -> Sound:
    """A quiet room: noise 70 dB under full scale."""
    noise = np.random.default_rng(1).normal(0, 10**-3.5, round(seconds * RATE))
    return noise.astype(np.float32)
