"""A whole recorded call over the virtual sound card, timed on its wires.

    python -m tests.devices.benchmark [--echo 0.125] [--turns 14] [--stops 7] [--hours 8]

Every figure of the table in DEVELOPERS.md, in its rows' order. The technician answers when the
companion has fallen silent, and again when he gets no answer; then, in calls of their own, says
"stop" in the middle of a prompt; then a call waits. Ten minutes, and twelve more for the
simulated day, which ``--hours 0`` leaves out.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.calls.make import texts_of
from tests.devices.card import Card, card
from tests.devices.silence import silence_after
from tests.devices.talk import TOP, Talk, recorded, spoken_by_engine, turn
from tests.devices.waiting import Cost, waiting

FEW = 14
PATIENCE_S = 8.0
TRIES = 3


@dataclass
class Held:
    """How a call went: delays from end of speech to first sound, and what was said again."""

    delays: list[tuple[float, str]] = field(default_factory=list)
    again: list[str] = field(default_factory=list)
    said: int = 0
    status: int | None = None


def plain(line: str) -> str:
    return line.rstrip(".").replace(",", "").lower()


def _answered(talk: Talk, words: str, already: int) -> bool:
    """Whether the call goes on from these words; silence is no answer."""
    try:
        talk.wait_for("= ", PATIENCE_S, since=already)
    except AssertionError:
        return False
    since = talk.lines[already:]
    return any(words in line for line in since) and not any("not taken" in line for line in since)


def whole_call(made: Card, calls: Path, turns: int) -> Held:
    """Hold a call, or its first turns."""
    lines = list(
        zip(texts_of("frozen_valve"), recorded(TOP / "tests/calls/frozen_valve.flac"), strict=True)
    )
    held = Held()
    talk = Talk(made, "--calls", str(calls))
    try:
        at_s = talk.first_word()
        for line, clip in lines[:turns]:
            words = plain(line)
            held.said += 1
            for _ in range(TRIES):
                already = len(talk.lines)
                at_s, delay_s = turn(talk, clip, at_s)
                held.delays.append((delay_s, words))
                if _answered(talk, words, already):
                    break
                held.again.append(words)
        if turns >= len(lines):
            held.status = talk.end()
    except (AssertionError, subprocess.TimeoutExpired) as error:
        print(f"given up: {error}\n{talk.printed}", file=sys.stderr)
        held.status = -1
    finally:
        talk.close()
    return held


def stops(made: Card, calls: Path, times: int) -> list[float | None]:
    """Seconds from the end of "stop" to silence, each in a fresh call; None where unheard."""
    found: list[float | None] = []
    for number in range(times):
        talk = Talk(made, "--calls", str(calls / str(number)))
        try:
            began_s = talk.first_word()
            time.sleep(0.8 + 0.2 * (number % 5))
            _, ended_s = talk.say(spoken_by_engine("stop"))
            talk.wait_for("command: stop", 3.0)
            found.append(silence_after(talk.ear.loud(began_s), ended_s))
        except AssertionError:
            print(f"stop {number} was not heard:\n{talk.printed}", file=sys.stderr)
            found.append(None)
        finally:
            talk.close()
    return found


def idle(made: Card, calls: Path) -> Cost:
    """What a call costs that has said its first prompt and hears nothing."""
    talk = Talk(made, "--calls", str(calls))
    try:
        talk.spoken_out(talk.first_word())
        time.sleep(10.0)  # the loudspeaker is kept open for some seconds
        return waiting(talk.process.pid)
    finally:
        talk.close()


def delays_row(name: str, delays: list[tuple[float, str]]) -> str:
    if not delays:
        return f"{name}: none"
    median, most = np.percentile([delay for delay, _ in delays], [50, 95])
    return f"{name}: median {median:.2f} s, 95 % {most:.2f} s"


def call_rows(held: Held) -> list[str]:
    ended = "not held to its end" if held.status is None else f"exit status {held.status}"
    slowest = ", ".join(f"{words} {s:.2f}" for s, words in sorted(held.delays)[:-6:-1])
    return [
        delays_row(f"end of speech to first sound, {FEW} turns", held.delays[:FEW]),
        delays_row(f"the same, all {len(held.delays)} turns", held.delays),
        f"  slowest: {slowest}",
        f"call: {ended}; of {held.said} utterances {held.said - len(set(held.again))} heard right "
        f"the first time; again: {', '.join(held.again) or 'none'}",
    ]


def stop_rows(heard: list[float | None]) -> list[str]:
    times = [delay for delay in heard if delay is not None]
    rows = [f'"stop" under a prompt: heard {len(times)} of {len(heard)}']
    if times:
        rows.append(f"  to silence: median {np.median(times):.2f} s, longest {max(times):.2f} s")
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--echo", type=float, default=0.125)
    parser.add_argument("--turns", type=int, default=len(texts_of("frozen_valve")))
    parser.add_argument("--stops", type=int, default=20)
    parser.add_argument("--hours", type=float, default=8.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name, card(Path(name) / "card") as made:
        made.echo(options.echo)
        calls = Path(name) / "calls"
        held = whole_call(made, calls / "whole", options.turns)
        print(*call_rows(held), sep="\n", flush=True)
        print(*stop_rows(stops(made, calls, options.stops)), sep="\n", flush=True)
        share, wakeups, megabytes = idle(made, calls / "idle")
        print(f"idle: {share:.1%} of one core, {wakeups:.0f} wake-ups a second")
        print(f"memory of a waiting call, speech engine included: {megabytes:.0f} MB", flush=True)
    if options.hours:
        day = [sys.executable, "-m", "tests.hearing.all_day", "--hours", str(options.hours)]
        subprocess.run(day, cwd=TOP, check=True)


if __name__ == "__main__":
    main()
