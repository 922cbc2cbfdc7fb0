"""A command of the companion, and the memory that its process came to hold at most.

    python -m tests.peak call --typed --mute

runs it as ``companion`` does and prints the peak, in MB, as the last line of standard error.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

STATUS = Path("/proc/self/status")  # Linux


def peak_mb() -> float:
    """Of this process alone: what getrusage tells is inherited from the one that started it."""
    told = re.search(r"VmHWM:\s+(\d+)", STATUS.read_text(encoding="ascii"))
    assert told is not None
    return int(told[1]) / 1024


if __name__ == "__main__":
    from companion.cli import main

    status = main(sys.argv[1:])
    print(f"{peak_mb():.1f}", file=sys.stderr)
    sys.exit(status)
