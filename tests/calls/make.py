"""Speaks what the technicians of the invented calls say.

    python -m tests.calls.make --voices FOLDER

Every line of every call, twice, by a voice that the speech model was never trained on, into one
bank of clips; and two calls in one piece, with their words beside: the demo's and another. Needs
what models/README.md names for making speech. The sound is in the repository, so neither the demo
nor the tests need it. To be run again when the lines of a call have changed, a test names what is
missing; what is there already is kept as it is.
"""

from __future__ import annotations

import argparse
import json
from io import BytesIO
from pathlib import Path

import numpy as np
import soundfile

from companion.hearing.source import RATE
from companion.practice.hands import lines
from companion.speaking.numbers import digit_words
from tests.calls.scripts import lines_of, scripts
from tests.calls.spoken import BANK, INDEX, bank

TOP = Path(__file__).parents[2]
HERE = Path(__file__).parent
WHOLE = {
    TOP / "dialogs/demo/wasp_nest.flac": "wasp nest",
    HERE / "frozen_valve.flac": "frozen valve",
}
VOICE = "am_michael"
SPEEDS = (1.0, 0.82)
ALWAYS = (
    "resume", "go on", "continue", "skip", "close the call", "no", "yes", "back to work", "stop",
)  # fmt: skip
WORDS = (*map(digit_words, range(10)), "point", "ohms", "volts", "amps", "K")
"""What a number is made of that is said slowly, word by word."""
GAP_S, PAUSE_S = 0.1, 1.2


def all_lines() -> list[str]:
    """Each line once, in the order of the calls; first what any may come to need."""
    others = (said for ways in lines().says.values() for said in ways)
    in_calls = (line for name in scripts() for line in lines_of(name))
    return list(dict.fromkeys([*ALWAYS, *WORDS, *others, *in_calls]))


def texts_of(call: str) -> list[str]:
    """What is said in a call that was spoken in one piece, utterance by utterance."""
    return (HERE / f"{call}.txt").read_text(encoding="utf-8").splitlines()


def encoded(sound: np.ndarray) -> bytes:
    """A clip as a stream of its own."""
    stream = BytesIO()
    soundfile.write(stream, sound, RATE, format="OGG", subtype="OPUS")
    return stream.getvalue()


def main() -> None:
    """Speak the bank and the demo."""
    from models.recipe import say, voices

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voices", type=Path, required=True)
    neural = voices.Neural(parser.parse_args().voices)
    clips, kept = bank() if BANK.exists() else (b"", {})
    made = bytearray()
    index: dict[str, list[list[int]]] = {}
    for line in all_lines():
        for take, speed in enumerate(SPEEDS):
            if line in kept:
                start, stop = kept[line][take]
                stream = clips[start:stop]
            else:
                stream = encoded(say.speak_all([line], neural, VOICE, speed=speed, pause=GAP_S))
            index.setdefault(line, []).append([len(made), len(made) + len(stream)])
            made += stream
    BANK.write_bytes(made)
    INDEX.write_text(json.dumps(index, indent=0) + "\n", encoding="utf-8")
    print(f"{BANK.name}: {len(index)} lines, {len(index.keys() - kept.keys())} of them new")
    for file, name in WHOLE.items():
        texts = [f"{line}." for line in lines_of(name)]
        if file.exists() and texts_of(file.stem) == texts:
            continue
        (HERE / f"{file.stem}.txt").write_text("\n".join(texts) + "\n", encoding="utf-8")
        sound = say.speak_all(texts, neural, VOICE, speed=1.0, pause=PAUSE_S)
        soundfile.write(file, sound, RATE, subtype="PCM_16")
        print(f"{file.name}: {len(texts)} utterances, {len(sound) / RATE:.0f} s")


if __name__ == "__main__":
    main()
