"""Lets the tests of this folder import the rehearsed visit and the recorded one; checks each link once a file."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "ledger" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "desk" / "support"))

from attacks import remembered_links


@pytest.fixture(autouse=True, scope="module")
def _links_checked_once() -> Iterator[None]:
    """A record is read again and again: every link of it is checked once in a file."""
    with remembered_links():
        yield


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One device for all visits of a file: its keys take a second to make."""
    return tmp_path_factory.mktemp("device")
