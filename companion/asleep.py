"""How long the computer has slept, whatever its clock was set to."""

from __future__ import annotations

import time


def _slept_s() -> float:
    """Seconds that the steady clock stood still since some moment.

    Linux counts them, whatever is done to the time of day. Elsewhere the time of day
    has to serve, and setting it forward looks like sleep: a false alarm, on the safe side.
    """
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    now_s = time.time() if boot is None else time.clock_gettime(boot)
    return now_s - time.monotonic()


class Asleep:
    """Measures sleep between one question and the next."""

    def __init__(self) -> None:
        self._before_s = _slept_s()

    def since_last_asked_s(self) -> float:
        """Seconds asleep since this was last asked, or since the beginning."""
        before_s, self._before_s = self._before_s, _slept_s()
        return self._before_s - before_s
