"""Clips carried inside the page: small, and with nothing to fetch."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Literal

import soundfile
import soxr

Carried = Literal["opus", "flac", "none"]
_OPUS_RATE = 16000  # speech; what the recogniser hears, too
_TYPES = {"opus": "audio/ogg; codecs=opus", "flac": "audio/flac"}


def data_uri(clip: Path, carried: Carried) -> str | None:
    """A clip as a data URI; None where it is not carried, or can't be read.

    Opus is lossy, about a tenth of the clip's size, and not for evidence: the folder of
    the call has the lossless one.
    """
    if carried == "none":
        return None
    try:
        samples, rate = soundfile.read(clip, dtype="float32")
    except (OSError, soundfile.LibsndfileError):
        return None
    file = io.BytesIO()
    if carried == "opus":
        if rate != _OPUS_RATE:
            samples = soxr.resample(samples, rate, _OPUS_RATE)
        soundfile.write(file, samples, _OPUS_RATE, format="OGG", subtype="OPUS")
    else:
        soundfile.write(file, samples, rate, format="FLAC", subtype="PCM_16")
    return f"data:{_TYPES[carried]};base64,{base64.b64encode(file.getvalue()).decode()}"
