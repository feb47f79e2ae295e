"""Giving freed memory back: native libraries free much, and the C library keeps it for whatever may come."""

from __future__ import annotations

import contextlib
import ctypes


def give_back_memory() -> None:
    """Let the system have what was freed: a grammar or an utterance leaves 20 MB that the C library would keep."""
    with contextlib.suppress(OSError, AttributeError, TypeError):  # where it has no such function
        ctypes.CDLL(None).malloc_trim(0)
