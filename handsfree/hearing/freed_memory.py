"""Giving freed memory back: native libraries free much, and the C library keeps it for whatever may come."""

from __future__ import annotations

import contextlib
import ctypes

_MOST_HEAPS = -8
"""M_ARENA_MAX of mallopt(3), GNU C library."""


def share_one_heap() -> None:
    """Let all threads of this process take memory from one heap, before they begin.

    Each has a heap of its own otherwise, and what one leaves there others cannot use: 20 MB where the general
    recogniser is loaded in a thread.
    """
    with contextlib.suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).mallopt(_MOST_HEAPS, 1)


def give_back_memory() -> None:
    """Let the system have what was freed: a grammar or an utterance leaves 20 MB that the C library would keep."""
    with contextlib.suppress(OSError, AttributeError, TypeError):  # where it has no such function
        ctypes.CDLL(None).malloc_trim(0)
