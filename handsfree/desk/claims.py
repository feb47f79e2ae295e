"""Who is looking at which visit, so that two supervisors do not judge one at the same time.

A claim is told, and bars nobody. It stands in the store, which desks over the same visits share, under the name
that the list gives to the desk's own key; it is over after a while, or when the visit is signed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from handsfree.store.port import VisitStore

HOLDS = timedelta(minutes=10)
"""How long an opened visit counts as looked at: common practice, no source."""


class Claims:
    """The claims of one store, seen by one supervisor; `who` is empty where nobody is known."""

    def __init__(self, store: VisitStore, who: str) -> None:
        self._store, self._who = store, who

    def take(self, key: str) -> None:
        """Note that this supervisor looks at a visit."""
        if self._who:
            now = datetime.now(UTC)
            self._store.claim(key, self._who, _told(now), _told(now + HOLDS))

    def others(self, keys: Sequence[str]) -> dict[str, tuple[str, ...]]:
        """Return for each visit the names of the others who look at it."""
        found = self._store.claims(keys, _told(datetime.now(UTC)))
        return {key: tuple(name for name in names if name != self._who) for key, names in found.items()}


def _told(at: datetime) -> str:
    return at.isoformat(timespec="milliseconds")
