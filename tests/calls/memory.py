"""Memory of whole calls at its peak, one of each equipment, typed and by sound.

    python -m tests.calls.memory

runs ``companion call`` on each in a process of its own, start included, and prints a table in MB.
By sound it hears one recording, made of the clips of ``spoken`` in the order in which the call was
held by sound before; "cut short" where it came to no end so, which changes little of the peak.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from companion.closed_loop.aloud import Heard
from companion.closed_loop.held import run
from companion.datafiles import folder
from companion.hearing import SHIPPED, Recogniser
from companion.hearing.source import RATE, Samples
from companion.turns import Dialogs, load_dialogs
from tests.calls import spoken
from tests.calls.scripts import HERE, Script, lines_of, scripts, technician_for

TOP = Path(__file__).parents[2]
WHOLE = HERE / "frozen_valve.flac"


@dataclass(frozen=True)
class Peak:
    """Most memory that a command came to hold, in MB, and its exit status."""

    mb: float
    status: int

    def __str__(self) -> str:
        return f"{self.mb:.0f}" + (", cut short" if self.status else "")


def one_of_each() -> Iterator[Script]:
    """The first repaired call of each equipment, and of one that is made of its terminals."""
    seen = set()
    for script in scripts().values():
        if script.ends == "repaired" and script.equipment not in seen:
            seen.add(script.equipment)
            yield script


def peak_of(*arguments: str | Path, said: str = "") -> Peak:
    """Of a command of the companion with its arguments.

    Args:
        said: what is typed.
    """
    with tempfile.TemporaryDirectory() as calls:
        command = [sys.executable, "-m", "tests.peak", *map(str, arguments), "--calls", calls]
        done = subprocess.run(command, input=said, capture_output=True, text=True, cwd=TOP)
    return Peak(float(done.stderr.split()[-1]), done.returncode)


def typed(name: str) -> Peak:
    """Of a call of ``calls.toml`` by keyboard."""
    said = "".join(f"{line}\n" for line in lines_of(name))
    return peak_of("call", "--typed", "--mute", said=said)


def record(script: Script, file: Path, dialogs: Dialogs, recogniser: Recogniser) -> None:
    """The technician's side of a call as one recording."""
    sounds: list[Samples] = []

    def says(line: str, take: int) -> Samples:
        sounds.append(spoken.says(line, take))
        return sounds[-1]

    technician = technician_for(script, dialogs)
    heard = Heard(says, recogniser, technician)
    run(dialogs, technician, heard=heard, floor=recogniser.floors)
    soundfile.write(file, np.concatenate(sounds), RATE)


def by_sound(file: Path) -> Peak:
    """Of a call on a recording."""
    return peak_of("call", "--wav", file, "--mute")


def main() -> None:
    """Print the table."""
    dialogs, recogniser = load_dialogs(folder("dialogs")), Recogniser(folder("models") / SHIPPED)
    print("| call | equipment | typed | by sound |\n|---|---|---|---|")
    for script in one_of_each():
        with tempfile.TemporaryDirectory() as place:
            file = Path(place) / "call.flac"
            record(script, file, dialogs, recogniser)
            row = (script.name, script.equipment or f"on the board: {script.landed}",
                   typed(script.name), by_sound(file))  # fmt: skip
        print(f"| {' | '.join(map(str, row))} |", flush=True)
    print(f"\n{WHOLE.name}, a call recorded in one piece: {by_sound(WHOLE)} MB")
    print(f"companion demo, every reply made as sound: {peak_of('demo')} MB")


if __name__ == "__main__":
    main()
