"""Gives back to the machine what a reckoning took: a box has little, and serves for days.

The C library keeps a pool of memory for each thread and gives little of it back; for glibc both
are told otherwise (mallopt(3), malloc_trim(3)). Elsewhere nothing is done.
"""

import contextlib
import ctypes
import sys

M_ARENA_MAX = -8


def one_pool() -> None:
    """Let all threads take from one pool; before the first of them begins."""
    if sys.platform == "linux":
        with contextlib.suppress(AttributeError, OSError):
            ctypes.CDLL(None).mallopt(M_ARENA_MAX, 1)


def give_back() -> None:
    """Give back what is free."""
    if sys.platform == "linux":
        with contextlib.suppress(AttributeError, OSError):
            ctypes.CDLL(None).malloc_trim(0)
