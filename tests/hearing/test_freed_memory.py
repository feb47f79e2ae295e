"""One heap for all threads: counted by the C library itself (malloc_info(3), GNU C library)."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

COUNTED = """
import ctypes, sys, threading
from handsfree.hearing.freed_memory import share_one_heap
if sys.argv[1] == "one":
    share_one_heap()
library = ctypes.CDLL(None)
library.malloc.restype = ctypes.c_void_p
held = threading.Thread(target=lambda: [library.malloc(ctypes.c_size_t(5_000)) for _ in range(100)])
held.start()
held.join()
library.fopen.restype = ctypes.c_void_p
file = ctypes.c_void_p(library.fopen(b"/dev/stdout", b"w"))
library.malloc_info(0, file)
library.fflush(file)
"""


@pytest.mark.parametrize(("heaps", "counted"), [("one", 1), ("each", 2)])
def test_threads_share_one_heap_where_the_c_library_can(heaps: str, counted: int) -> None:
    """A thread that takes memory has a heap of its own otherwise."""
    told = subprocess.run([sys.executable, "-c", COUNTED, heaps], capture_output=True, text=True, check=True)
    if platform.libc_ver()[0] == "glibc":
        assert told.stdout.count("<heap nr=") == counted
