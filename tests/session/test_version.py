"""What a record tells of the program that decided: its sources, its lock, and the libraries that decide."""

from __future__ import annotations

import hashlib
import sys
from importlib import metadata
from pathlib import Path

import pytest

from handsfree import shipped
from handsfree.session import version

LOCK = Path(__file__).parents[2] / ".ci" / "locks" / "program.txt"


def test_the_digest_is_that_of_the_lock_that_set_up_installs() -> None:
    """As `sha256sum .ci/locks/program.txt` prints it."""
    assert version.lock_digest() == hashlib.sha256(LOCK.read_bytes()).hexdigest()


def test_another_lock_has_another_digest_and_no_lock_has_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A copy without a lock is not told as one with."""
    lock = tmp_path / "shipped" / "locks" / "program.txt"
    lock.parent.mkdir(parents=True)
    monkeypatch.setattr(shipped, "_PACKAGE", tmp_path)
    assert version.lock_digest() is None
    lock.write_bytes(b"")
    # The digest of nothing: NIST, Secure Hash Standard examples, SHA-256 of the empty message.
    assert version.lock_digest() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_the_versions_are_those_that_run() -> None:
    """Each library's own word for itself, where it has one, and Python's."""
    import numpy as np  # noqa: PLC0415  # only this test asks them
    import pydantic  # noqa: PLC0415
    import ruamel.yaml  # noqa: PLC0415
    import scipy  # noqa: PLC0415

    found = version.deciding_versions()
    assert found["python"] == ".".join(map(str, sys.version_info[:3]))
    assert found["numpy"] == np.__version__
    assert found["pydantic"] == pydantic.VERSION
    assert found["ruamel.yaml"] == ruamel.yaml.__version__
    assert found["scipy"] == scipy.__version__
    assert set(found) == {"python", *version.DECIDING_LIBRARIES}


def test_a_library_that_is_not_installed_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """An office that only reads records may have no recogniser."""
    told = metadata.version

    def without_vosk(name: str) -> str:
        if name == "vosk":
            raise metadata.PackageNotFoundError(name)
        return told(name)

    monkeypatch.setattr(metadata, "version", without_vosk)
    monkeypatch.setattr(version, "_installed", version._installed.__wrapped__)  # asked again, not remembered
    assert "vosk" not in version.deciding_versions()
    assert "numpy" in version.deciding_versions()
