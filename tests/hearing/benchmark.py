"""Recorded calls in noise: what suppression and the detector of speech are worth.

    python -m tests.hearing.benchmark [--every 2]

Utterances of the two recorded calls, each heard with its own step's list, in made noise: how many
are heard exactly, and of how many something else is believed than was said.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import product
from typing import Any

import numpy as np
import soundfile
import soxr

from companion.datafiles import folder
from companion.hearing import Recogniser, SpokenEars, find_model
from companion.hearing.source import RATE, Block
from companion.messages import CallOpened
from companion.turns import Turns, load_dialogs
from companion.understood import Utterance
from tests.calls.make import TOP, texts_of
from tests.devices.card import Sound, segments

NOISES = ("fan", "compressor", "drill", "second talker")
SNRS = (-5, 0, 5, 10, 15, 20)
Meaning = Callable[[Utterance], dict[str, Any]]


def noise(kind: str, length: int, rng: np.random.Generator, talk: Sound) -> Sound:
    """Noise of one kind at unit power. Made up to resemble: no recording stands behind it."""
    at = np.arange(length) / RATE
    white = rng.normal(0, 1, length + 63)
    if kind == "fan":
        made = np.convolve(white, np.hanning(64), "valid")[:length]
    elif kind == "compressor":
        hum = sum(np.sin(2 * np.pi * 58.5 * n * at + n) / n for n in range(1, 20))
        made = hum + 0.4 * np.convolve(white, np.hanning(64), "valid")[:length] / 8
    elif kind == "drill":
        pitch = 2 * np.pi * np.cumsum(310 + 40 * np.sin(2 * np.pi * 0.7 * at)) / RATE
        whine = sum(np.sin(n * pitch) / n**0.5 for n in range(1, 12))
        made = whine * (1 + 0.3 * np.sin(2 * np.pi * 23 * at)) + 0.8 * white[:length]
    else:
        begin = int(rng.integers(0, len(talk) - length))
        made = talk[begin : begin + length]
    made = np.asarray(made, np.float32)
    return made / np.sqrt(np.mean(made**2) + 1e-9)


class Tape:
    """A sound in memory as a source."""

    kind = "wav"

    def __init__(self, sound: Sound, clean: Callable[[Any], Any] | None) -> None:
        self._pcm = (np.clip(sound, -1, 1) * 32767).astype(np.int16)
        self._clean, self.read_s = clean, 0.0

    def read(self) -> Block | None:
        at = round(self.read_s * RATE)
        block = self._pcm[at : at + 640]
        if not len(block):
            return None
        self.read_s += len(block) / RATE
        return Block(at / RATE, block if self._clean is None else self._clean(block))

    def close(self) -> None:
        pass


def suppressor() -> Callable[[Any], Any]:
    """WebRTC's noise suppression, frame by frame."""
    from livekit import rtc

    made = rtc.AudioProcessingModule(noise_suppression=True, high_pass_filter=True)

    def clean(block: Any) -> Any:
        out = []
        for at in range(0, len(block) - 159, 160):
            frame = rtc.AudioFrame(bytearray(block[at : at + 160].tobytes()), RATE, 1, 160)
            made.process_stream(frame)
            out.append(np.frombuffer(bytes(frame.data), np.int16))
        return np.concatenate(out) if out else block

    return clean


def cases(floors: Mapping[str, float]) -> Iterator[tuple[Sound, str, list[str], Turns]]:
    """Each utterance, its words, the list of its step, and the call to ask about meaning."""
    dialogs = load_dialogs(folder("dialogs"))
    for file, texts in (
        (TOP / "tests/calls/frozen_valve.flac", texts_of("frozen_valve")),
        (TOP / "dialogs/demo/wasp_nest.flac", texts_of("wasp_nest")),
    ):
        sound, rate = soundfile.read(file, dtype="float32")
        parts = segments(soxr.resample(sound, rate, RATE))
        opened = CallOpened(
            call_id="x", procedure="x", profile=None, dialogs_digest="x", model="x",
            source="wav", floor=dict(floors),
        )  # fmt: skip
        turns = Turns(dialogs, opened)
        turns.begin()
        for part, text in zip(parts, texts, strict=True):
            words = text.rstrip(".").replace(",", "").lower()
            yield part, words, turns.phrases(), turns
            turns.take(turns.understand(Utterance(text=words, source="typed")))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=2)
    every = parser.parse_args().every
    recogniser = Recogniser(find_model(None))
    talk, rate = soundfile.read(TOP / "dialogs/demo/wasp_nest.flac", dtype="float32")
    talk = soxr.resample(talk, rate, RATE)[::-1].copy()  # backwards: speech, but no words
    variants = {"plain": None, "suppressed": suppressor}
    heard: dict[tuple[str, str, int], list[bool]] = {}
    wrong: dict[tuple[str, str, int], int] = {}
    late: dict[tuple[bool, int], list[float]] = {}
    for number, (part, words, phrases, turns) in enumerate(cases(recogniser.floors)):
        if number % every:
            continue
        rng = np.random.default_rng(number)
        padded = np.concatenate([np.zeros(RATE // 2), part, np.zeros(RATE * 3 // 2)])
        power = np.sqrt(np.mean(part**2))
        end_s = 0.5 + len(part) / RATE - 0.1

        def meaning(of: Utterance, turns: Turns = turns) -> dict[str, Any]:
            return turns.understand(of).model_dump(exclude={"said", "clip"})

        def means(text: str, meaning: Meaning = meaning) -> bool:
            found = meaning(Utterance(text=text, source="typed"))
            return bool(found["kind"] != "not_understood")

        meant = meaning(Utterance(text=words, source="typed"))

        for kind in NOISES:
            for snr in SNRS:
                other = noise(kind, len(padded), rng, talk) * power * 10 ** (-snr / 20)
                mixed = (padded + other).astype(np.float32)
                mixed *= min(1.0, 0.9 / np.abs(mixed).max())
                for name, make in variants.items():
                    tape = Tape(mixed, make() if make else None)
                    ears = SpokenEars(recogniser, tape)  # type: ignore[arg-type]
                    found = ears.listen(phrases, turns.settled, means)
                    right = found is not None and found.text == words
                    heard.setdefault((name, kind, snr), []).append(right)
                    taken = meaning(found) if found is not None else None
                    if taken and taken["kind"] != "not_understood" and taken != meant:
                        wrong[name, kind, snr] = wrong.get((name, kind, snr), 0) + 1
                        print(f"{name}, {kind}, {snr} dB: {words!r} as {found.text!r}", flush=True)
                    if name == "plain" and right:
                        late.setdefault((True, snr), []).append(tape.read_s - end_s)
                        tape = Tape(mixed, None)  # no pause ends what means nothing
                        SpokenEars(recogniser, tape).listen(phrases, turns.settled)  # type: ignore[arg-type]
                        late.setdefault((False, snr), []).append(tape.read_s - end_s)
    print_table(variants, heard, wrong, late)


def print_table(
    variants: Iterable[str],
    heard: Mapping[tuple[str, str, int], list[bool]],
    wrong: Mapping[tuple[str, str, int], int],
    late: Mapping[tuple[bool, int], list[float]],
) -> None:
    """Shares by noise and level, with counts; then how late an end was noticed."""
    decibels = " | ".join(f"{snr} dB" for snr in SNRS)
    print(f"| heard exactly, %; taken for something else | {decibels} |")
    for name, kind in product(variants, NOISES):
        keys = [(name, kind, snr) for snr in SNRS]
        cells = (f"{100 * np.mean(heard[key]):.0f}; {wrong.get(key, 0)}" for key in keys)
        print(f"| {kind}, {name} | " + " | ".join(cells) + " |")
    for detector in (False, True):
        seconds = [late.get((detector, snr), [float("nan")]) for snr in SNRS]
        cells = (f"{np.median(x):.2f}, {np.percentile(x, 95):.2f}" for x in seconds)
        used = "with" if detector else "without"
        print(f"| end noticed, s, {used} | " + " | ".join(cells) + " |")
    print(f"{len(heard['plain', 'fan', 20])} utterances in each cell")


if __name__ == "__main__":
    main()
