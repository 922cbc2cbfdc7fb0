"""``python -m companion.spoken_loop``: simulated calls spoken by a machine and heard for real.

Each line of the technician is spoken by eSpeak NG in one of several voices, laid into noise like
a fan's, and heard by the shipped model through the ears of a call. Such voices were among those
that the model was trained on, so this measures the loop, not how well people are heard.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass
from functools import partial
from math import inf
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile
import soxr

from companion import datafiles
from companion.closed_loop import run
from companion.hearing import Recogniser, SpokenEars, find_model
from companion.hearing.ears import Settled
from companion.hearing.source import RATE, Block, Samples
from companion.loop_report import RIGHT
from companion.many_calls import draw, ended, technician_of
from companion.practice import STEADY, Technician
from companion.speaking.engine import start, write
from companion.turns import Turns, load_dialogs
from companion.understood import Answer, NotUnderstood, Reading, Utterance

VOICES = ("gmw/en-us", "gmw/en-us+f3", "gmw/en-gb-scotland", "gmw/en-us+m7")
LEVELS_DB = (inf, 20.0, 15.0, 10.0)
WORDS_A_MINUTE = (160, 125, 190, 140)  # said again, nobody says it alike
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
        self._engine = start("bundled", WORDS_A_MINUTE[0])
        self._made: dict[tuple[str, str, int], Samples] = {}

    def says(self, line: str, voice: str, rate: int = WORDS_A_MINUTE[0]) -> Samples:
        """A line at ``RATE``, mono; letters are said as letters."""
        if (line, voice, rate) not in self._made:
            self._engine.setProperty("voice", voice)
            self._engine.setProperty("rate", rate)
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

    def __call__(self, line: str, turns: Turns) -> Utterance | None:
        """What the ears make of a line said now."""
        self.take = self.take + 1 if line == self.last else 0
        self.last = line
        sound = self.says(line, self.take)
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
        self.exact += same
        self.turned_away += isinstance(was, NotUnderstood)
        if isinstance(was, Reading | Answer) and not same:
            self.other_value += 1
            self.other_safety += turns.walk.step.safety
            self.technician.mistaken(line)
        return found


def _says(
    speaker: Speaker, voice: str, snr_db: float, rng: np.random.Generator, line: str, take: int
) -> Samples:
    rate = WORDS_A_MINUTE[take % len(WORDS_A_MINUTE)]
    return in_noise(speaker.says(_spoken(line), voice, rate), snr_db, rng)


def _spoken(line: str) -> str:
    """Single letters apart, so that they are spelled."""
    return " ".join(f"{w.upper()}." if len(w) == 1 and w not in "ai" else w for w in line.split())


def row(
    snr_db: float, listed: bool, heeds: float, calls: int, seed: int, recogniser: Recogniser,
    speaker: Speaker,
) -> tuple[str, ...]:  # fmt: skip
    """Some calls at one noise level: what was heard, and how they ended."""
    dialogs = load_dialogs(datafiles.folder("dialogs"))
    right = breaches = asked = 0
    all_heard: list[Heard] = []
    for drawn in draw(calls, seed):
        habits = STEADY if heeds >= 1.0 else type(STEADY)(heeds=heeds)
        technician = technician_of(drawn, habits)
        rng = np.random.default_rng((seed, drawn.number))
        says = partial(_says, speaker, VOICES[drawn.number % len(VOICES)], snr_db, rng)
        heard = Heard(says, recogniser, technician, listed)
        outcome = run(dialogs, technician, heard=heard, floor=recogniser.floors)
        right += ended(outcome, technician) in RIGHT
        breaches += len(outcome.breaches) + technician.touched_live
        asked += outcome.asked_again
        all_heard.append(heard)
    lines = sum(h.lines for h in all_heard)
    return (
        "quiet" if np.isinf(snr_db) else f"{snr_db:.0f} dB",
        "each step's" if listed else "none",
        "heeded" if heeds >= 1.0 else "not heeded",
        f"{right} of {calls}",
        f"{sum(h.exact for h in all_heard) / lines:.1%}",
        f"{sum(h.turned_away for h in all_heard) / lines:.1%}",
        f"{sum(h.other_value for h in all_heard) / lines:.1%}",
        str(sum(h.other_safety for h in all_heard)),
        f"{asked / calls:.1f}",
        str(breaches),
    )


HEADS = ("noise", "phrase lists", "read-back", "calls ended right", "understood as meant",
         "asked again", "taken for another value", "of these at safety steps",
         "asked again a call", "breaches")  # fmt: skip


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser("companion.spoken_loop", description=__doc__)
    parser.add_argument("--calls", type=int, default=4, help="a row (%(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="(%(default)s)")
    options = parser.parse_args(argv)
    here = os.getcwd()
    recogniser = Recogniser(find_model(None).resolve())
    with tempfile.TemporaryDirectory() as place:
        speaker = Speaker(Path(place))  # the engine stands in its own folder from here on
        print("| " + " | ".join(HEADS) + " |\n" + "|---" * len(HEADS) + "|")
        rows = [(snr, True, 1.0) for snr in LEVELS_DB]
        rows += [(LEVELS_DB[-1], True, 0.0), (LEVELS_DB[0], False, 1.0)]
        for snr_db, listed, heeds in rows:
            print("| " + " | ".join(row(snr_db, listed, heeds, options.calls, options.seed,
                                        recogniser, speaker)) + " |", flush=True)  # fmt: skip
    os.chdir(here)
    return 0


if __name__ == "__main__":
    sys.exit(main())
