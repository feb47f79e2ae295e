"""Who comes while the tool stands still is not shown its last picture: the page would take it for a new one."""

from __future__ import annotations

import asyncio

import pytest

from handsfree.glance import site
from handsfree.glance.site import Relay


async def sent(relay: Relay) -> list[bytes]:
    """Return what is sent in half a second to somebody who comes now."""
    got: list[bytes] = []

    async def follow() -> None:
        async for piece in site._Followed(relay, [])._follow():
            got.append(piece)  # noqa: PERF401 - what came before the time is over is wanted too

    with pytest.raises(TimeoutError):
        await asyncio.wait_for(follow(), 0.5)
    return got


@pytest.mark.parametrize(("age_s", "pieces"), [(0.0, 2), (site.FRESH_S + 1, 1)])
def test_only_a_picture_of_now_is_shown_to_who_comes(monkeypatch, age_s: float, pieces: int) -> None:
    relay = Relay(b"{}", lambda *_: None, lambda: None)
    relay.told(b"{}", over=False)
    now = site.time.monotonic
    monkeypatch.setattr(site.time, "monotonic", lambda: now() + age_s)
    assert len(asyncio.run(sent(relay))) == pieces


def test_the_last_picture_stays() -> None:
    """After the end nothing grows old."""
    relay = Relay(b"{}", lambda *_: None, lambda: None)
    relay.told(b"{}", over=True)
    relay._told_at -= 60
    assert relay.fresh
