"""How much of a call is lost, by every way that we can break its record.

``python -m tests.journal.fault_table`` tries every point and prints the table of
DEVELOPERS.md; the tests try a sample. A call is lost when it can't be resumed, when an entry
that was acted on is missing, or when what is left leads to another state than it did.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from companion.datafiles import folder as shipped
from companion.errors import CompanionError
from companion.journal import JOURNAL, Journal, read
from companion.messages import Aside, CallResumed, Concluded, Message
from companion.turns import Dialogs, load_dialogs, replay
from companion.understood import Utterance
from tests.journal.faulty import LINES, TRUTH, FaultyDisk, Killed, talk, whole_call

SECTOR = 512


@dataclass
class Points:
    """What was tried, and where a call was lost."""

    name: str
    tried: int = 0
    lost: list[str] = field(default_factory=list)

    def check(self, place: object, whole: bool) -> None:
        self.tried += 1
        if not whole:
            self.lost.append(f"{self.name} at {place}")


def _resumes(dialogs: Dialogs, folder: Path, before: Sequence[Message]) -> bool:
    """Whether the call in a folder is resumed with exactly these messages before the break."""
    try:
        with Journal(folder) as journal:
            there = [entry.message for entry in journal.past.entries]
            if there != list(before):
                return False
            if any(isinstance(message, Concluded) for message in there):
                return replay(dialogs, there)[0].concluded == TRUTH
            talk(dialogs, journal, ())
        past = read(folder / JOURNAL)
        after = [entry.message for entry in past.entries]
        replay(dialogs, after)
    except CompanionError:
        return False
    goes_on = any(isinstance(m, Concluded | CallResumed) for m in after) or not before
    return past.changed_at is None and goes_on


def cut_points(
    dialogs: Dialogs, place: Path, stride: int = 1, part: int = 0, parts: int = 1
) -> Points:
    """The power goes after so many bytes of the journal, for every number of bytes.

    Whatever was torn, opening must bring the file back to its last whole line, byte for byte;
    from each of those states the call is then resumed.
    """
    points = Points("power cut after a byte")
    data = whole_call(dialogs, place / "whole")
    entries = read(place / "whole" / JOURNAL).entries
    folder = place / "cut"
    folder.mkdir()
    journal, resumed = folder / JOURNAL, -1
    least, most = ((len(data) + 1) * n // parts for n in (part, part + 1))
    for cut in range(least, most, stride):
        journal.write_bytes(data[:cut])
        end = data.rfind(b"\n", 0, cut) + 1
        with Journal(folder) as opened_again:
            told = opened_again.troubles()
            whole = opened_again.past.whole == data[:end] and bool(told) == (cut > end)
        whole = whole and journal.read_bytes() == data[:end]
        if whole and end != resumed:
            resumed = end
            whole = _resumes(
                dialogs, folder, [e.message for e in entries[: data[:end].count(b"\n")]]
            )
        points.check(cut, whole)
    return points


def sector_points(dialogs: Dialogs, place: Path, stride: int = 1) -> Points:
    """A sector that was being written stays empty although later ones were written."""
    points = Points("sector never written")
    data = whole_call(dialogs, place / "sectors")
    entries = read(place / "sectors" / JOURNAL).entries
    folder = place / "hole"
    folder.mkdir()
    for at in range(0, len(data) - SECTOR, SECTOR * stride):
        cut = min(len(data), at + 3 * SECTOR)
        (folder / JOURNAL).write_bytes(data[:at] + bytes(SECTOR) + data[at + SECTOR : cut])
        before = [entry.message for entry in entries[: data[:at].count(b"\n")]]
        points.check(at, _resumes(dialogs, folder, before))
    return points


def _said(messages: Sequence[Message]) -> list[Message]:
    return [m for m in messages if not isinstance(m, Aside | CallResumed)]


def disk_points(dialogs: Dialogs, place: Path, fault: str, stride: int = 1) -> Points:
    """Each operation of the disk in turn fails, once, eight times, or from there on for good."""
    points = Points(f"disk: {fault}")
    with Journal(place / "sound", disk=(count := FaultyDisk(fault, at=10**9))) as journal:
        talk(dialogs, journal, LINES)
    expected = _said([entry.message for entry in read(place / "sound" / JOURNAL).entries])
    runs = (1,) if fault == "kill" else (1, 8, 10**9)
    for times in runs:
        for at in range(1, count.done + 1, stride):
            folder = place / f"{fault}-{times}-{at}"
            disk = FaultyDisk(fault, at=at, times=times)
            with contextlib.suppress(Killed):
                journal = Journal(folder, disk=disk)
                try:
                    talk(dialogs, journal, LINES)
                except Killed:
                    journal._saving._lock.release(
                        force=True
                    )  # as the system does for a dead process
                    raise
                journal.close()
            if fault == "kill":
                there = [entry.message for entry in read(folder / JOURNAL).entries]
                whole = _said(there) == expected[: len(_said(there))]
                whole = whole and (at < 3 or _resumes(dialogs, folder, there))
            else:
                rescued = Path(tempfile.gettempdir()) / "companion-unsaved" / folder.name
                there = [
                    [entry.message for entry in read(kept / JOURNAL).entries]
                    for kept in (folder, rescued)
                ]
                whole = any(_said(kept) == expected for kept in there)
                whole = whole and all(_said(k) == expected[: len(_said(k))] for k in there)
            points.check(f"{at}, {times} times", whole)
    return points


def killed_points(dialogs: Dialogs, place: Path, times: int = 50) -> Points:
    """A real call in a process of its own, killed outright at a random moment.

    Whatever it had shown of an utterance must be on record, and the call must resume.
    """
    points, rng = Points("process killed at a random moment"), random.Random(1)
    command = [sys.executable, "-m", "companion", "call", "--typed", "--mute", "--calls"]
    for number in range(times):
        calls = place / f"killed-{number}"
        process = subprocess.Popen(
            [*command, str(calls)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write("\n".join(LINES) + "\n")
        process.stdin.flush()
        shown = [process.stdout.readline()]  # the first prompt: it runs
        time.sleep(rng.uniform(0.0, 0.4))
        process.kill()
        shown += process.communicate()[0].splitlines()
        (folder,) = calls.iterdir()
        there = [entry.message for entry in read(folder / JOURNAL).entries]
        heard = sum(isinstance(message, Utterance) for message in there)
        whole = heard >= sum(line.startswith("               = ") for line in shown)
        points.check(number, whole and _resumes(dialogs, folder, there))
    return points


def _tried(name: str, *how: Any) -> tuple[Points, float]:
    """One way to break it, in a process of its own."""
    os.fsync = lambda handle: None  # what is cut by hand need not wait for the disk
    tries: Callable[..., Points] = {
        "killed": killed_points, "sector": sector_points, "disk": disk_points, "cut": cut_points,
    }[name]  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        # What is rescued goes there too: left over, it would be taken for the next run's.
        tempfile.tempdir = place
        began = time.perf_counter()
        points = tries(load_dialogs(shipped("dialogs")), Path(place), *how)
        tempfile.tempdir = None
    return points, time.perf_counter() - began


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    workers = parser.parse_args().workers
    parts = 4 * workers
    work: list[tuple[Any, ...]] = [("killed",), ("sector",)]
    work += [("disk", fault) for fault in ("full", "read only", "not allowed", "sync", "kill")]
    work += [("cut", 1, part, parts) for part in range(parts)]
    print("| what is done to the record of a call | points tried | calls lost | seconds |")
    print("|---|---|---|---|")
    whole: dict[str, tuple[Points, float]] = {}
    with ProcessPoolExecutor(workers) as pool:
        for points, took in [f.result() for f in [pool.submit(_tried, *one) for one in work]]:
            before, so_far = whole.get(points.name, (Points(points.name), 0.0))
            before.tried += points.tried
            before.lost += points.lost
            whole[points.name] = before, so_far + took
    for points, took in whole.values():
        print(f"| {points.name} | {points.tried} | {len(points.lost)} | {took:.0f} |")
        for lost in points.lost[:5]:
            print(f"  {lost}")


if __name__ == "__main__":
    main()
