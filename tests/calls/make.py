"""Speaks what the technicians of the invented calls say.

    python -m tests.calls.make --voices FOLDER

Every line of every call, twice, by a voice that the speech model was never trained on, into one
bank of clips; and two calls in one piece, with their words beside: the demo's and another. Needs
what models/README.md names for making speech. The sound is in the repository, so neither the demo
nor the tests need it. To be run again when the lines of a call have changed, a test names what is
missing; lines in the bank are kept, but encoded once more: after a few makings some are heard wrong
for that, and it is time to begin with neither bank nor index.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import soundfile

from companion.practice.hands import lines
from companion.speaking.numbers import digit_words
from tests.calls.scripts import lines_of, scripts
from tests.calls.spoken import BANK, INDEX, clip

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


def main() -> None:
    """Speak the bank and the demo."""
    from models.recipe import say, voices

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voices", type=Path, required=True)
    neural = voices.Neural(parser.parse_args().voices)
    pieces: list[np.ndarray] = []
    index: dict[str, list[list[int]]] = {}
    at = 0
    kept = json.loads(INDEX.read_text(encoding="utf-8")) if INDEX.exists() else {}
    for line in all_lines():
        for take, speed in enumerate(SPEEDS):
            sound = (
                clip(line, take)
                if line in kept
                else say.speak_all([line], neural, VOICE, speed=speed, pause=GAP_S)
            )
            pieces.append(sound)
            index.setdefault(line, []).append([at, at + len(sound)])
            at += len(sound)
    soundfile.write(BANK, np.concatenate(pieces), voices.RATE, format="OGG", subtype="OPUS")
    INDEX.write_text(json.dumps(index, indent=0) + "\n", encoding="utf-8")
    print(f"{BANK.name}: {len(index)} lines, {at / voices.RATE:.0f} s")
    for file, name in WHOLE.items():
        texts = [f"{line}." for line in lines_of(name)]
        (HERE / f"{file.stem}.txt").write_text("\n".join(texts) + "\n", encoding="utf-8")
        sound = say.speak_all(texts, neural, VOICE, speed=1.0, pause=PAUSE_S)
        soundfile.write(file, sound, voices.RATE, subtype="PCM_16")
        print(f"{file.name}: {len(texts)} utterances, {len(sound) / voices.RATE:.0f} s")


if __name__ == "__main__":
    main()
