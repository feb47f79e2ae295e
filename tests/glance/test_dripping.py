"""A thousand dripping connections: the holder's keys arrive, and a visit at a firing gate notices nothing."""

from __future__ import annotations

import pytest

from tests.bench.glance.dripping import measure


@pytest.mark.slow("a sample of the bench that lasts ten minutes")
def test_keys_arrive_and_nothing_is_lost_or_alarmed() -> None:
    """Every press is answered and shown; voice is heard; no handle of the visit is used. Times: see the bench."""
    outcome = measure(5.0, 20.0)
    assert len(outcome.keys["during"]) >= 5
    assert outcome.voice["during"]
    assert max(outcome.handles) - min(outcome.handles) <= 2
    assert not {"device-lost", "stopped"} & set(outcome.kinds)
    assert "tone-sounded" not in outcome.kinds
