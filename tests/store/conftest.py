"""Stores to test, each on every engine that the product knows."""

import pytest

from handsfree.store.embedded import open_embedded


@pytest.fixture(params=["embedded"])
def store(request, tmp_path):
    """An empty store."""
    made = open_embedded(tmp_path / "store.sqlite")
    yield made
    made.close()
