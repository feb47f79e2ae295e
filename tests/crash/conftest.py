"""Makes the disk that fails and the small visits importable, and checks each link of a chain once a test."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "ledger" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))

from attacks import remembered_links


@pytest.fixture(autouse=True)
def _links_checked_once() -> Iterator[None]:
    with remembered_links():
        yield
