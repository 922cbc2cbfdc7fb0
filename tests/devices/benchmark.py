"""A whole recorded call over the virtual sound card, timed on its wires.

    python -m tests.devices.benchmark [--echo 0.5]

The technician answers when the companion has fallen silent; then, in calls of their own,
says "stop" in the middle of a prompt. Takes about eight minutes.
"""

from __future__ import annotations

import argparse
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.calls.make import texts_of
from tests.devices.card import card
from tests.devices.talk import TOP, Talk, recorded, spoken_by_engine, turn


def whole_call(folder: Path, echo: float, turns: int) -> tuple[list[float], int, int]:
    """Delays from end of speech to first sound, repeats, and the exit status."""
    clips = recorded(TOP / "tests/calls/frozen_valve.flac")
    delays, repeats = [], 0
    with card(folder / "card") as made:
        made.echo(echo)
        talk = Talk(made, "--calls", str(folder / "calls"))
        try:
            at_s = talk.began_s
            for words, clip in list(zip(texts_of("frozen_valve"), clips, strict=True))[:turns]:
                for _ in range(3):
                    already = len(talk.lines)
                    at_s, delay_s = turn(talk, clip, at_s)
                    delays.append(delay_s)
                    talk.wait_for("= ", since=already)
                    plain = words.rstrip(".").replace(",", "").lower()
                    if any(plain in line for line in talk.lines[already:]):
                        break
                    repeats += 1
                    print(f"said again: {plain}", flush=True)
            status = talk.end(20) if turns >= len(clips) else 0
        except (AssertionError, subprocess.TimeoutExpired):
            print(talk.printed)
            status = -1
        finally:
            talk.close()
    return delays, repeats, status


def stops(folder: Path, echo: float, times: int) -> list[float | None]:
    """Seconds from the end of "stop" to silence, each in a fresh call; None where unheard."""
    from tests.devices.test_virtual_card import silence_after

    found: list[float | None] = []
    with card(folder / "card") as made:
        made.echo(echo)
        for number in range(times):
            talk = Talk(made, "--calls", str(folder / f"calls{number}"))
            try:
                began_s = talk.first_sound(talk.began_s)
                time.sleep(0.8 + 0.2 * (number % 5))
                _, ended_s = talk.say(spoken_by_engine("stop"))
                talk.wait_for("command: stop", 3.0)
                found.append(silence_after(talk.ear.loud(began_s), ended_s))
            except (AssertionError, StopIteration):
                found.append(None)
            finally:
                talk.close()
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--echo", type=float, default=0.5)
    parser.add_argument("--turns", type=int, default=len(texts_of("frozen_valve")))
    parser.add_argument("--stops", type=int, default=20)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        delays, repeats, status = whole_call(Path(name) / "whole", options.echo, options.turns)
        median, most = np.percentile(delays, [50, 95])
        print(f"call: exit status {status}, {len(delays)} turns, {repeats} said again")
        print(f"end of speech to first sound: median {median:.2f} s, 95 % {most:.2f} s")
        heard = stops(Path(name) / "stops", options.echo, options.stops)
        times = [delay for delay in heard if delay is not None]
        print(
            f"stop: heard {len(times)} of {len(heard)}; to silence: median "
            f"{np.median(times):.2f} s, longest {max(times):.2f} s"
        )


if __name__ == "__main__":
    main()
