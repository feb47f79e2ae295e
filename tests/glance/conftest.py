"""Lets the tests of this folder import the rehearsed visit and what they share; a page, and a visit told to it."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
for folder in (HERE / "support", HERE.parent / "session" / "support"):
    sys.path.insert(0, str(folder))

from rehearsed import at  # noqa: E402
from told import Told  # noqa: E402

from handsfree.glance.web import Page  # noqa: E402


@pytest.fixture
def told() -> Told:
    return Told(at("cover-off"))


@pytest.fixture
def page(told: Told) -> Iterator[Page]:
    with Page("127.0.0.1:0", told.live, told.plan.catalogue) as served:
        assert served.served.wait(60)
        yield served
