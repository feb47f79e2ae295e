"""The version of the decision code: a fingerprint of everything a decision depends on.

Computed from the sources, so that nobody can forget to raise it. Under another fingerprint the same inputs
may give other events, and a verifier then reports differences apart from the seal, never as tampering.
"""

from __future__ import annotations

import hashlib
from importlib import resources
from importlib.resources.abc import Traversable

DECIDING = ("events", "gates", "lexicon", "measurement", "procedure", "questions", "session", "trades")
"""The packages whose code and words take part in decisions."""


def fingerprint() -> str:
    """Return twelve hex digits over every source and word list of the deciding packages."""
    digest = hashlib.sha256()
    for package in DECIDING:
        for name, file in sorted(_sources(resources.files("handsfree").joinpath(package), package)):
            digest.update(f"{name}\n".encode() + file.read_bytes())
    return digest.hexdigest()[:12]


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
