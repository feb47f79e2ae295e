"""The counters of a store, by which others notice what changed.

The revision rises with what questions read: what they read of a visit before holds no more. The news rises with
every examination and every signature: a signature changes no answer, and yet others want to be told.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence

from sqlalchemy import Connection, insert, literal, select, update

from handsfree.store.tables import OUTDATED, STATE, VISIT


def begin(base: Connection) -> None:
    """Give new tables their own mark."""
    base.execute(insert(STATE), [{"mark": secrets.token_hex(8), "revision": 0, "news": 0}])


def raised(base: Connection) -> int:
    """Return a new revision; until the end of the transaction nobody else gets one, so that none is seen late."""
    base.execute(update(STATE).values(revision=STATE.c.revision + 1))
    return base.scalar(select(STATE.c.revision)) or 0


def announced(base: Connection) -> int:
    """Return the number of a piece of news; until the end of the transaction nobody else gets one."""
    base.execute(update(STATE).values(news=STATE.c.news + 1))
    return base.scalar(select(STATE.c.news)) or 0


def outdate(base: Connection, keys: Sequence[str], since: int) -> None:
    """Note that what questions read of visits holds no more."""
    visit = VISIT.c
    asked = select(literal(since), visit.key, visit.revision, visit.day)
    asked = asked.where(visit.key.in_(keys), visit.revision > 0)
    base.execute(insert(OUTDATED).from_select(["since", "key", "revision", "day"], asked))
