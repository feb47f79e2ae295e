"""Whatever is altered at random is told in a sentence or a finding; tests/bench/office does it longer."""

from __future__ import annotations

from pathlib import Path

import pytest
from mutated import Mutations, tally


def test_three_hundred_alterations_are_all_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No traceback, no answer of 500, and no altered record that passes."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    found = tally(Mutations(tmp_path, tmp_path / "state"), range(300))
    assert sum(found.values()) == 300
    assert found["folder broken"] > 20
    assert found["refused"] > 20
