"""The product against outside values: each check names its source beside the value."""

from __future__ import annotations

import pytest
from every_check import CHECKS


@pytest.mark.parametrize("check", CHECKS, ids=[f"{c.number} {c.what}" for c in CHECKS])
def test_the_product_agrees_with_the_source(check):
    """Each computed value lies within its tolerance of the source's."""
    assert float(check.compute()) == pytest.approx(check.expected, abs=check.tolerance, rel=0), check.source


def test_the_list_is_broad_enough():
    """At least 120 rows of the list of check values are covered, and every check names a source."""
    assert len({check.number for check in CHECKS if check.number.startswith("C")}) >= 120
    assert all(check.source for check in CHECKS)
