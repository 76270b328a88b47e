"""Memory given back to the system between tasks."""

from __future__ import annotations

import ctypes
import gc
import sys
from contextlib import suppress


def give_back() -> None:
    """Free what a task has left behind.

    A graph refers to itself and so waits for the garbage collector, with the states of its blocks; and glibc keeps what
    is freed in pieces for each thread, until `malloc_trim` is called: after a task of 120 orders some 500 MB.
    """
    gc.collect()
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):  # other C libraries than glibc have no such call
            ctypes.CDLL(None).malloc_trim(0)
