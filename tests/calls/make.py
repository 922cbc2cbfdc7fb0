"""The texts of the recorded calls, and how their audio was made.

    python -m tests.calls.make --voices FOLDER

Speaks each call with a voice that the speech model was never trained on. Needs what
models/README.md names for making speech; the FLAC files are in the repository, so
neither the demo nor the tests need it.
"""

from __future__ import annotations

import argparse
from pathlib import Path

HERE = Path(__file__).parent
TOP = HERE.parents[1]

WASP_NEST = [
    "site clear.", "cooling with furnace.", "thermostat off.", "all clear.",
    "zero volts.", "twenty seven point one volts.",
    "power off.", "meter proven.", "zero volts.", "zero volts.",
    "three amps.", "five amps.", "yes.", "open line.", "just the meter.",
    "point two ohms.", "fuse out base off.",
    "sixty ohms.", "repeat.", "point nine.", "no, point eight.", "yes.",
    "capacitor safe.", "point five ohms.", "yes.",
    "repaired.", "twelve point six ohms.", "three amps.", "thermostat off.", "all clear.",
    "twenty six point eight volts.", "it runs.", "twenty six volts.", "close the call.",
]  # fmt: skip

FROZEN_VALVE = [
    "site clear.", "heat pump.", "thermostat off.", "all clear.", "twenty six point four.",
    "power off.", "meter proven.", "zero volts.", "zero volts.",
    "five amps.", "five amps.", "open line.", "test lamp.", "lamp ready.", "all clear.",
    "dark.", "dim.", "bright.", "yes.",
    "power off.", "meter proven.", "zero volts.", "zero volts.",
    "capacitor safe.", "one point two ohms.", "yes.",
    "repaired.", "fuse out base off.", "thirty six ohms.", "five amps.",
    "thermostat off.", "all clear.", "twenty six point four.", "it runs.",
    "twenty five point eight.", "close the call.",
]  # fmt: skip

CALLS = {
    TOP / "dialogs/demo/wasp_nest.flac": ("am_michael", WASP_NEST),
    HERE / "frozen_valve.flac": ("am_michael", FROZEN_VALVE),
}


def main() -> None:
    """Speak every call."""
    import soundfile

    from models.recipe import say, voices

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voices", type=Path, required=True)
    neural = voices.Neural(parser.parse_args().voices)
    for file, (voice, texts) in CALLS.items():
        audio = say.speak_all(texts, neural, voice, speed=1.0, pause=1.2)
        soundfile.write(file, audio, voices.RATE, subtype="PCM_16")
        print(f"{file.name}: {len(texts)} utterances, {len(audio) / voices.RATE:.0f} s")


if __name__ == "__main__":
    main()
