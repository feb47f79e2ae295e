"""Results of hearing visits again, kept by content: the record, the clips that are there, and the model."""

from __future__ import annotations

import hashlib
import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path

from handsfree.cache import cache_folder
from handsfree.hearing.model_folder import ModelFolder
from handsfree.problem import Problem
from handsfree.regular_files import open_regular
from handsfree.rehearing.findings import HeardAgain, from_json
from handsfree.shipped import model_folder

VERSION = 2
"""To be raised when the same visit would be judged otherwise."""
LARGEST = 8 << 20
_PIECE = 1 << 20


def content_of(folder: Path) -> str:
    """Return the SHA-256 over a record and the names of its clips, which are digests; raises OSError."""
    digest = hashlib.sha256()
    with open_regular(folder / "ledger.jsonl") as stream:
        while piece := stream.read(_PIECE):
            digest.update(piece)
    sound = folder / "sound"
    names = sorted(each.name for each in sound.iterdir()) if sound.is_dir() and not sound.is_symlink() else []
    digest.update("\n".join(["", *names]).encode("utf-8", "surrogateescape"))
    return digest.hexdigest()


def kept_result(folder: Path, model: Path | None = None) -> HeardAgain | None:
    """Return what was found when this very visit was heard again by this very model; None when it was not."""
    try:
        with open_regular(_file(folder, model)) as stream:
            return from_json(stream.read(LARGEST))
    except (OSError, ValueError, Problem):
        return None


def keep_result(folder: Path, found: HeardAgain, model: Path | None = None) -> None:
    """Keep a result; a full or read-only disk only means that it is found again later."""
    with suppress(OSError, Problem):
        path = _file(folder, model)
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
            file.write(found.as_json())
        Path(file.name).replace(path)


def _file(folder: Path, model: Path | None) -> Path:
    name = hashlib.sha256(f"{VERSION} {_identity(model or model_folder())} {content_of(folder)}".encode())
    return cache_folder() / "heard-again" / f"{name.hexdigest()[:32]}.json"


@cache
def _identity(model: Path) -> str:
    return ModelFolder.check(model).identity
