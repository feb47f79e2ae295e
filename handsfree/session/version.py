"""The version of the decision code: a fingerprint of everything a decision depends on.

Computed from the sources, so that nobody can forget to raise it. Under another fingerprint the same inputs
may give other events, and a verifier then reports differences apart from the seal, never as tampering.

The libraries below can change a decision under the same fingerprint. So a record also names what was to be
installed (`lock_digest`) and what was installed (`deciding_versions`).
"""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib import metadata, resources
from importlib.resources.abc import Traversable

from handsfree import shipped

DECIDING = ("events", "formulas", "gates", "lexicon", "measurement", "procedure", "questions", "session", "trades")
"""The packages whose code and words take part in decisions."""

DECIDING_MODULES = ("blocks.py", "documents.py", "plain.py", "units.py")
"""The single modules that do."""

DECIDING_LIBRARIES = ("pydantic", "numpy", "scipy", "ruamel.yaml", "ruamel.yaml.clib", "transitions", "vosk")
"""The libraries that hear, read, compute or move on the way to a decision, as the package registry names them."""


def fingerprint() -> str:
    """Return twelve hex digits over every source and word list of the deciding packages."""
    digest = hashlib.sha256()
    for package in DECIDING:
        for name, file in sorted(_sources(resources.files("handsfree").joinpath(package), package)):
            digest.update(f"{name}\n".encode() + file.read_bytes())
    for name in DECIDING_MODULES:
        digest.update(f"{name}\n".encode() + resources.files("handsfree").joinpath(name).read_bytes())
    return digest.hexdigest()[:12]


def lock_digest() -> str | None:
    """Return the SHA-256 of the lock that ships with the program, in 64 hex digits; None where there is none."""
    lock = shipped.lock_file()
    return hashlib.sha256(lock.read_bytes()).hexdigest() if lock else None


def deciding_versions() -> dict[str, str]:
    """Return the versions of Python and of each deciding library; a library that is not installed is left out."""
    found = {"python": platform.python_version()}
    return found | {name: version for name in DECIDING_LIBRARIES if (version := _installed(name))}


@cache
def _installed(library: str) -> str | None:
    """Return the version of a library as this process began with it; reading it takes milliseconds."""
    try:
        return metadata.version(library)
    except metadata.PackageNotFoundError:
        return None


def _sources(folder: Traversable, name: str) -> list[tuple[str, Traversable]]:
    found: list[tuple[str, Traversable]] = []
    for child in folder.iterdir():
        path = f"{name}/{child.name}"
        if child.is_dir():
            found += _sources(child, path)
        elif child.name.endswith((".py", ".yaml")):
            found.append((path, child))
    return found


DECISION_VERSION = fingerprint()
