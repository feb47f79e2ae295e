"""Opening files that somebody else may have laid there: nothing but plain files, and none without end."""

from __future__ import annotations

import errno
import io
import os
import stat
from pathlib import Path

LARGEST = 1 << 30
"""Bytes; a visit of a day with all its sound is far smaller, and a larger file is a mistake or an attack."""


def open_regular(path: Path, *, through_links: bool = False) -> io.BufferedReader:
    """Open a file for reading; never waits for a pipe, never reads a device.

    Raises OSError as the operating system does: ELOOP for a link (unless `through_links`), a pipe, a device or
    a socket, EFBIG for a file beyond LARGEST.
    """
    flags = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | (0 if through_links else os.O_NOFOLLOW)
    handle = os.open(path, flags)
    fault = _fault(os.fstat(handle))
    if fault:
        os.close(handle)
        raise OSError(fault, os.strerror(fault), str(path))
    return os.fdopen(handle, "rb")


def _fault(state: os.stat_result) -> int:
    """Return the number of the error that an open file gives; 0 for a plain one of a fair size."""
    if stat.S_ISDIR(state.st_mode):
        return errno.EISDIR
    if not stat.S_ISREG(state.st_mode):
        return errno.ELOOP
    return errno.EFBIG if state.st_size > LARGEST else 0
