"""Words over a real call's prompts: "stop" counts, half a number doesn't.

The prompts are spoken anew each time and never quite alike, so one miss is let pass.
"""

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
import pytest
import soxr

from companion.hearing.recogniser import Recogniser
from companion.speaking import SpokenVoice
from companion.speaking.playback import load

from .conftest import RATE

pytest.importorskip("livekit", reason="the echo canceller comes with the extra 'voice'")
from .stops import in_noise, prompts, stops, voices
from .under_prompts import asked, became


def test_stop_is_heard_under_the_first_prompt_whoever_says_it(recogniser: Recogniser) -> None:
    over = next(prompts(recogniser, every=1))
    over_s = len(over.prompt) / RATE + 0.5
    said = product(voices().values(), (0.8, 1.8))
    heard = [
        stops(recogniser, over, 0.125, in_noise("quiet", sound, at_s, over_s))
        for sound, at_s in said
    ]
    assert sum(heard) >= len(heard) - 1


def test_a_number_that_begins_under_a_loud_echo_is_asked_again(
    recogniser: Recogniser, tmp_path: Path
) -> None:
    """Not taken for what is left of it once the prompt has ended."""
    voice = SpokenVoice(tmp_path)
    found = []
    for at in asked(recogniser):
        if at.words.endswith("ohms") and len(found) < 6:
            wav = voice.say(at.prompt)
            assert wav is not None
            mono, rate = load(wav)
            prompt = np.asarray(soxr.resample(mono, rate, RATE), np.float32)
            found.append(became(recogniser, at, prompt, echo=0.5, early_s=0.4)[0])
    voice.close()
    assert len(found) == 6
    assert found.count("WRONG") <= 1
