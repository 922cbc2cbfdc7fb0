"""The sound check: says a sentence, hears one, and tells what to mend."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from companion.errors import AudioError, CompanionError, VoiceError
from companion.hearing import Microphone, Recogniser, input_names
from companion.hearing.source import RATE
from companion.speaking import Loudspeaker, Mouth, SpokenVoice

SENTENCE = "Sound check. Please say: twenty six point four volts."
ASKED = "twenty six point four volts"
_PHRASES = [ASKED, "twenty six", "point four", "four volts", "one", "two", "five", "forty"]
_LISTEN_S = 9.0
_NOISY_DB, _VERY_NOISY_DB = 15.0, 10.0
_FAINT_DBFS, _LATE_S = -55.0, 0.4

# From the table in DEVELOPERS.md; fan and compressor leave more, a second talker less.
_EXPECTED = ((20.0, "nearly all"), (10.0, "most"), (5.0, "many"), (-99.0, "few"))


@dataclass
class Found:
    """What the check measured; None where it could not."""

    microphone: str | None = None
    loudspeaker: bool = False
    floor_dbfs: float | None = None
    speech_dbfs: float | None = None
    heard: str | None = None
    round_trip_s: float | None = None
    clipped: int = 0
    dropped: int = 0


def advice(found: Found) -> list[str]:
    """What to mend, in plain words; empty if nothing."""
    if found.microphone is None:
        return ["There is no microphone. Plug one in, or choose one with --device."]
    mend = []
    if not found.loudspeaker:
        mend.append("No sound comes out. Check the loudspeaker, or work with --mute.")
    if found.speech_dbfs is None:
        return [*mend, "Nothing was heard. Is the microphone muted, or too far away?"]
    if found.clipped:
        mend.append("Too loud: turn the microphone down, or hold it further away.")
    if found.speech_dbfs < _FAINT_DBFS:
        mend.append("Too faint: turn the microphone up, or bring it closer.")
    margin = signal_to_noise(found)
    if margin is not None and margin < _NOISY_DB:
        how = "Far too noisy" if margin < _VERY_NOISY_DB else "Noisy"
        mend.append(f"{how}: bring the microphone to your mouth; a headset is best.")
    if found.heard != ASKED:
        mend.append(f"It heard {found.heard or 'no words'!r}, not {ASKED!r}. Try once more.")
    if found.dropped:
        mend.append("Sound was lost: close other programs.")
    if found.round_trip_s is not None and found.round_trip_s > _LATE_S:
        mend.append("The sound system is slow; a wired headset answers faster.")
    return mend


def signal_to_noise(found: Found) -> float | None:
    """How far speech is over the noise, in decibels."""
    if found.speech_dbfs is None or found.floor_dbfs is None:
        return None
    return found.speech_dbfs - found.floor_dbfs


def report(found: Found) -> list[str]:
    """What was measured, line by line."""
    margin = signal_to_noise(found)

    def said(value: float | None, unit: str) -> str:
        return "not measured" if value is None else f"{value:.0f} {unit}"

    lines = [
        f"Microphone      {found.microphone or 'none'}",
        f"Loudspeaker     {'sounds' if found.loudspeaker else 'silent'}",
        f"Noise           {said(found.floor_dbfs, 'dB of full scale')}",
        f"Speech          {said(found.speech_dbfs, 'dB of full scale')}",
        f"Over the noise  {said(margin, 'dB')}",
        f"Heard           {found.heard or 'nothing'}",
    ]
    if found.round_trip_s is not None:
        lines.append(f"Out and in      {1000 * found.round_trip_s:.0f} ms")
    if margin is not None:
        share = next(words for least, words in _EXPECTED if margin >= least)
        lines.append(f"To expect       {share} utterances heard right the first time")
    return lines


def _round_trip(sent_s: float, blocks: Sequence[tuple[float, float]], floor: float) -> float | None:
    """Seconds until the microphone hears the loudspeaker; None if it doesn't, as with a headset."""
    late = (at_s for at_s, power in blocks if at_s >= sent_s and power > 10 * floor)
    return next((at_s - sent_s for at_s in late if at_s - sent_s < 1.0), None)


def _listen(
    microphone: Microphone, recogniser: Recogniser, seconds: float, phrases: Sequence[str]
) -> tuple[str, list[tuple[float, float]]]:
    """Words heard in that time, and the power of each block."""
    import json

    ear = recogniser.build(phrases)
    words, powers = [], []
    until = time.monotonic() + seconds
    while time.monotonic() < until and (block := microphone.read()) is not None:
        sound = block.samples.astype(np.float64) / 32768
        powers.append((block.at_s, float(np.mean(sound**2))))
        if ear.AcceptWaveform(block.samples.tobytes()):
            words.append(json.loads(ear.Result())["text"])
            if ASKED in words[-1]:
                break
    words.append(json.loads(ear.FinalResult())["text"])
    return " ".join(filter(None, words)), powers


def _dbfs(power: float) -> float:
    return float(10 * np.log10(power + 1e-12))


def check(recogniser: Recogniser, device: str | None, tell: Callable[[str], None] = print) -> Found:
    """Measure, with the technician's help."""
    found = Found()
    try:
        tell("Devices to record from: " + ", ".join(input_names()))
        microphone = Microphone(device)
    except AudioError as error:
        tell(f"{error.what} {error.do}")
        return found
    found.microphone = microphone.device
    loudspeaker = Loudspeaker(device)
    if (silent := loudspeaker.why_silent()) is not None:
        tell(silent)
    mouth = Mouth(loudspeaker)
    try:
        _, powers = _listen(microphone, recogniser, 1.5, _PHRASES)
        floor = float(np.median([power for _, power in powers])) if powers else 0.0
        found.floor_dbfs = _dbfs(floor)
        sent_s = time.monotonic()
        mouth.cue("heard")
        mouth.finish()
        found.loudspeaker = mouth.sounded
        if found.loudspeaker:
            _, powers = _listen(microphone, recogniser, 0.8, _PHRASES)
            found.round_trip_s = _round_trip(sent_s, powers, floor)
        tell(SENTENCE)
        _say(mouth, tell)
        while mouth.busy(time.monotonic() - 0.3):
            microphone.read()
        heard, powers = _listen(microphone, recogniser, _LISTEN_S, _PHRASES)
        loud = [power for _, power in powers if power > 10 * floor]
        if len(loud) >= round(0.3 * RATE / 640):
            found.speech_dbfs = _dbfs(float(np.mean(loud)))
        found.heard = heard.replace("[unk]", "").strip() or None
        found.clipped, found.dropped = microphone.level.clipped, microphone.dropped_blocks
    finally:
        mouth.close()
        microphone.close()
    return found


def _say(mouth: Mouth, tell: Callable[[str], None]) -> None:
    with TemporaryDirectory() as folder:
        try:
            voice = SpokenVoice(Path(folder))
        except VoiceError as error:
            tell(f"{error.what} {error.do}")
            return
        try:
            sound = voice.say(SENTENCE)
            if sound is not None:
                mouth.say(sound, SENTENCE)
                mouth.finish()
        except CompanionError as error:
            tell(f"{error.what} {error.do}")
        finally:
            voice.close()


def main(recogniser: Recogniser, device: str | None) -> int:
    """The command; exit status 0 if there is nothing to mend, 1 if there is."""
    found = check(recogniser, device)
    print("\n" + "\n".join(report(found)))
    mend = advice(found)
    for line in mend:
        print(f"  Mend: {line}")
    if not mend:
        print("  All well.")
    sys.stdout.flush()
    return 1 if mend else 0
