"""Results of hearing visits again, kept by content: the record, the clips that are there, and the model.

The last result of each record is kept beside them: what was found in a clip stands after the clip is gone.
"""

from __future__ import annotations

import hashlib
import tempfile
from contextlib import suppress
from dataclasses import replace
from functools import cache
from pathlib import Path

from handsfree.cache import cache_folder
from handsfree.hearing.model_folder import ModelFolder
from handsfree.problem import Problem
from handsfree.regular_files import open_regular
from handsfree.rehearing.clips import clip_of
from handsfree.rehearing.findings import HeardAgain, HeardAgainFinding, from_json
from handsfree.shipped import model_folder

VERSION = 2
"""To be raised when the same visit would be judged otherwise."""
GONE = " (the sound is gone since)"
LARGEST = 8 << 20
_PIECE = 1 << 20


def content_of(folder: Path) -> str:
    """Return the SHA-256 over a record and the names of its clips, which are digests; raises OSError."""
    digest = _record_of(folder)
    sound = folder / "sound"
    names = sorted(each.name for each in sound.iterdir()) if sound.is_dir() and not sound.is_symlink() else []
    digest.update("\n".join(["", *names]).encode("utf-8", "surrogateescape"))
    return digest.hexdigest()


def _record_of(folder: Path) -> hashlib._Hash:
    digest = hashlib.sha256()
    with open_regular(folder / "ledger.jsonl") as stream:
        while piece := stream.read(_PIECE):
            digest.update(piece)
    return digest


def kept_result(folder: Path, model: Path | None = None) -> HeardAgain | None:
    """Return what was found when this very visit was heard again by this very model; None when it was not."""
    try:
        with open_regular(_file(folder, model)) as stream:
            return from_json(stream.read(LARGEST))
    except (OSError, ValueError, Problem):
        return None


def last_known(folder: Path) -> HeardAgain | None:
    """Return the kept result of this very visit, else the last of its record with what is gone since marked."""
    found = kept_result(folder)
    if found is not None:
        return found
    last = _last(folder)
    if last is None:
        return None
    gone = {(one.seq, one.kind): one for one in _gone(folder, last)}
    return replace(last, findings=tuple(gone.get((one.seq, one.kind), one) for one in last.findings))


def keep_result(folder: Path, found: HeardAgain, model: Path | None = None) -> HeardAgain:
    """Keep a result, and return it with what was found in clips that are gone since.

    A full or read-only disk only means that it is found again later.
    """
    last = _last(folder)
    if last is not None:
        told = {(one.seq, one.kind) for one in found.findings}
        gone = [one for one in _gone(folder, last) if (one.seq, one.kind) not in told]
        findings = sorted([*found.findings, *gone], key=lambda one: (one.seq, one.kind))
        found = replace(found, findings=tuple(findings))
    with suppress(OSError, Problem):
        for path in (_file(folder, model), _last_file(folder)):
            path.parent.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
                file.write(found.as_json())
            Path(file.name).replace(path)
    return found


def heard_by() -> str:
    """Return what names the way visits are heard again here: results are alike where this is."""
    return f"{VERSION} {_identity(model_folder())}"


def _last(folder: Path) -> HeardAgain | None:
    try:
        with open_regular(_last_file(folder)) as stream:
            return from_json(stream.read(LARGEST))
    except (OSError, ValueError, Problem):
        return None


def _gone(folder: Path, last: HeardAgain) -> list[HeardAgainFinding]:
    """Return the findings whose sound cannot be heard any more, each marked so once."""
    lost = [one for one in last.findings if clip_of(folder, one.clip) is None]
    return [one if one.says.endswith(GONE) else replace(one, says=one.says + GONE) for one in lost]


def _last_file(folder: Path) -> Path:
    return cache_folder() / "heard-again" / f"record-{_record_of(folder).hexdigest()[:32]}.json"


def _file(folder: Path, model: Path | None) -> Path:
    name = hashlib.sha256(f"{VERSION} {_identity(model or model_folder())} {content_of(folder)}".encode())
    return cache_folder() / "heard-again" / f"{name.hexdigest()[:32]}.json"


@cache
def _identity(model: Path) -> str:
    return ModelFolder.check(model).identity
