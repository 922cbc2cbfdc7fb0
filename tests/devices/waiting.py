"""What a running call costs while it waits, by the kernel's own counts (Linux)."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import NamedTuple

_SOUND_SERVERS_OWN = "threaded-ml"  # PulseAudio's client library, as often as the card wants
_TICKS_A_SECOND = os.sysconf("SC_CLK_TCK")


class Cost(NamedTuple):
    """Share of one core, voluntary wake-ups a second of our own threads, resident memory."""

    share: float
    wakeups: float
    megabytes: float


def _family(process: int) -> list[int]:
    """The process and all that it has started."""
    found = [process]
    for one in found:
        for task in Path(f"/proc/{one}/task").iterdir():
            found += [int(child) for child in (task / "children").read_text().split()]
    return found


def _fields(path: Path, name: str) -> int:
    (line,) = (line for line in path.read_text().splitlines() if line.startswith(f"{name}:"))
    return int(line.split()[1])


def _counts(processes: list[int]) -> tuple[int, int]:
    """Ticks of a processor used, and times that a thread went to sleep by itself."""
    ticks = slept = 0
    for process in processes:
        stat = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
        ticks += int(stat[11]) + int(stat[12])
        for task in Path(f"/proc/{process}/task").iterdir():
            if (task / "comm").read_text().strip() != _SOUND_SERVERS_OWN:
                slept += _fields(task / "status", "voluntary_ctxt_switches")
    return ticks, slept


def waiting(process: int, for_s: float = 20.0) -> Cost:
    """Watch a process and its children for some seconds."""
    family = _family(process)
    ticks, slept = _counts(family)
    began_s = time.monotonic()
    time.sleep(for_s)
    ticks_then, slept_then = _counts(family)
    took_s = time.monotonic() - began_s
    kilobytes = sum(_fields(Path(f"/proc/{one}/status"), "VmRSS") for one in family)
    return Cost(
        (ticks_then - ticks) / _TICKS_A_SECOND / took_s,
        (slept_then - slept) / took_s,
        kilobytes / 1024,
    )
