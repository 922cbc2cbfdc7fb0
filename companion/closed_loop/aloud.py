"""A simulated technician's lines as sound, and what the ears of a call make of them."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile
import soxr

from companion.hearing import Recogniser, SpokenEars
from companion.hearing.ears import Settled
from companion.hearing.source import RATE, Block, Samples
from companion.practice import Technician
from companion.speaking.engine import set_pace, start, write
from companion.turns import Turns
from companion.understood import Answer, NotUnderstood, Reading, Utterance

WORDS_A_MINUTE = 160
BEFORE_S, AFTER_S = 0.3, 1.0
_BLOCK = RATE // 20
_LIMIT_S = 10.0


class Speaker:
    """Lines as sound.

    Args:
        place: a folder to write into.
    """

    def __init__(self, place: Path) -> None:
        self._file = place.resolve() / "line.wav"
        self._engine = start("bundled", WORDS_A_MINUTE)
        self._made: dict[tuple[str, str, int], Samples] = {}

    def says(self, line: str, voice: str, rate: int = WORDS_A_MINUTE) -> Samples:
        """A line at ``RATE``, mono; letters are said as letters."""
        if (line, voice, rate) not in self._made:
            self._engine.setProperty("voice", voice)
            set_pace(self._engine, rate)
            with redirect_stdout(io.StringIO()):  # pyttsx3 tells of every file
                write(self._engine, line, self._file, _LIMIT_S)
            sound, at = soundfile.read(self._file, dtype="float32")
            whole = soxr.resample(sound, at, RATE)
            self._made[line, voice, rate] = np.asarray(whole * 16000.0, dtype=np.int16)
        return self._made[line, voice, rate]


def in_noise(speech: Samples, snr_db: float, rng: np.random.Generator) -> Samples:
    """Speech with room before and after, in noise that falls by 3 dB an octave, as fans do."""
    quiet = [np.zeros(round(s * RATE), dtype=np.int16) for s in (BEFORE_S, AFTER_S)]
    whole = np.concatenate([quiet[0], speech, quiet[1]]).astype(np.float64)
    spectrum = np.fft.rfft(rng.normal(size=len(whole)))
    spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
    noise = np.fft.irfft(spectrum, len(whole))
    loud = float(np.sqrt(np.mean(speech.astype(np.float64) ** 2)))
    wanted = 2.0 if np.isinf(snr_db) else loud * 10.0 ** (-snr_db / 20.0)
    whole += noise * wanted / float(np.sqrt(np.mean(noise**2)))
    return np.clip(np.round(whole), -32768, 32767).astype(np.int16)


class _Clip:
    """One utterance as a source."""

    kind: Literal["microphone", "wav"] = "wav"

    def __init__(self, samples: Samples) -> None:
        self._blocks: Iterator[Block] = (
            Block(at / RATE, samples[at : at + _BLOCK]) for at in range(0, len(samples), _BLOCK)
        )

    def read(self) -> Block | None:
        return next(self._blocks, None)

    def close(self) -> None:
        """Nothing to let go."""


@dataclass
class Heard:
    """Ears for lines, and the count of what they made of them.

    Args:
        says: a line as sound at ``RATE``, with quiet behind it; said again, another take.
        listed: whether each step's phrase list is used; else any row of the model's words.
    """

    says: Callable[[str, int], Samples]
    recogniser: Recogniser
    technician: Technician
    listed: bool = True
    lines: int = 0
    speech_s: float = 0.0
    exact: int = 0
    turned_away: int = 0
    other_value: int = 0
    other_safety: int = 0
    take: int = 0
    last: str = ""
    missed: bool = False

    def __call__(self, line: str, turns: Turns) -> Utterance | None:
        """What the ears make of a line said now."""
        self.take = self.take + 1 if self.missed or line == self.last else 0
        self.last, self.missed = line, True
        said = ", ".join(line.split()) if self.technician.slowly else line
        sound = self.says(said, self.take)
        self.speech_s += len(sound) / RATE
        ears = SpokenEars(self.recogniser, _Clip(sound))
        phrases = turns.phrases() if self.listed else sorted(self.recogniser.words)
        settled: Settled = turns.settled if self.listed else (lambda text: False)
        found = ears.listen(phrases, settled)
        self.lines += 1
        meant = turns.understand(Utterance(text=line.lower(), source="typed"))
        if found is None:
            self.turned_away += 1
            return None
        was = turns.understand(found)
        same = was.model_copy(update={"said": ""}) == meant.model_copy(update={"said": ""}) if (
            type(was) is type(meant)) and not isinstance(was, NotUnderstood) else False  # fmt: skip
        self.missed = isinstance(was, NotUnderstood)
        self.exact += same
        self.turned_away += self.missed
        if isinstance(was, Reading | Answer) and not same:
            self.other_value += 1
            self.other_safety += turns.walk.step.safety
            self.technician.mistaken(line)
        return found
