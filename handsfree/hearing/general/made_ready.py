"""The packed networks, kept on this device: packing takes memory that the process which hears should not hold."""

from __future__ import annotations

import contextlib
import ctypes
import hashlib
import subprocess
import sys
import tempfile
from pathlib import Path

from handsfree.cache import cache_folder

_VERSION = 1
"""Raised when `packing.py` makes another file of the same weights."""


def made_ready(file: Path) -> Path:
    """Return the packed form of a network's file, made once in a process of its own and kept.

    Raises OSError where it cannot be kept, CalledProcessError when the file holds something else.
    """
    digest = hashlib.sha256(file.read_bytes()).hexdigest()[:16]
    kept = cache_folder() / "general-ears" / f"{digest}-{_VERSION}.onnx"
    if not kept.is_file():
        kept.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix="making-", dir=kept.parent) as name:
            made = Path(name) / kept.name
            module = "handsfree.hearing.general.packing"
            command = [sys.executable, "-m", module, str(file), str(made)]
            subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - this program's own
            made.replace(kept)
    return kept


def give_back_memory() -> None:
    """Let the system have what was freed: loading leaves 50 MB that the C library would keep."""
    with contextlib.suppress(OSError, AttributeError, TypeError):  # where it has no such function
        ctypes.CDLL(None).malloc_trim(0)
