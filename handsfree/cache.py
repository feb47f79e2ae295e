"""Where this device keeps what can be made again at any time."""

from __future__ import annotations

import os
from pathlib import Path


def cache_folder() -> Path:
    """Return where indexes and the outcomes of proofs are kept: XDG_CACHE_HOME or ~/.cache, then handsfree."""
    base = os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path.home() / ".cache") / "handsfree"
