"""The packed networks, kept on this device: packing takes memory that the process which hears should not hold."""

from __future__ import annotations

import contextlib
import hashlib
import platform
import subprocess
import sys
import tempfile
from pathlib import Path

from handsfree.cache import cache_folder
from handsfree.hearing.general import phones

LISTENING, WRITING, TABLE = "listening.onnx", "writing.onnx", "pieces.npy"
"""What is kept: the network that takes sound, the one that writes, and what each piece is to it."""

WHOLE, BLOCKS = "whole", "blocks"
"""How weights and what they multiply are summed: by whole rows where the processor can, else by blocks."""

_VERSION = 3
"""Raised when `packing.py` makes other files of the same weights."""


def made_ready(encoder: Path, decoder: Path) -> Path:
    """Return the folder with the packed form of two networks' files, made once in a process of its own and kept.

    Raises OSError where it cannot be kept, CalledProcessError when the files hold something else.
    """
    digest = hashlib.sha256(b"".join(hashlib.sha256(file.read_bytes()).digest() for file in (encoder, decoder)))
    sums = WHOLE if _sums_whole_rows() else BLOCKS
    kept = cache_folder() / "general-ears" / f"{digest.hexdigest()[:16]}-{phones.identity()}-{sums}-{_VERSION}"
    if not kept.is_dir():
        kept.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix="making-", dir=kept.parent) as name:
            made = Path(name) / kept.name
            made.mkdir()
            module = "handsfree.hearing.general.packing"
            command = [sys.executable, "-m", module, str(encoder), str(decoder), str(made), sums]
            subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - this program's own
            with contextlib.suppress(FileExistsError, OSError):  # another process was quicker
                made.rename(kept)
    if not kept.is_dir():
        message = f"{kept} could not be kept"
        raise OSError(message)
    return kept


def _sums_whole_rows() -> bool:
    """Say whether the processor sums products of 8 bits in 32: older ones do in 16, and overflow."""
    if platform.machine() in {"arm64", "aarch64"}:
        return True
    with contextlib.suppress(OSError):
        return "vnni" in Path("/proc/cpuinfo").read_text(encoding="utf-8", errors="replace")
    return False
