"""Memory that was freed, given back to the system."""

from __future__ import annotations

import ctypes


def give_back() -> None:
    """Return what the allocator keeps of freed memory, where it can be told to (glibc).

    A thread's own share of the heap stays with the process after the thread has ended, and no
    other thread uses it; so this is worth calling where one has freed tens of megabytes. It takes
    a few milliseconds. Elsewhere it does nothing.
    """
    try:
        trim = ctypes.CDLL(None).malloc_trim
    except (AttributeError, OSError, TypeError):  # another C library; no such library; Windows
        return
    trim(0)
