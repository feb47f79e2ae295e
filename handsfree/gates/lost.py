"""What a changed gate no longer does, in the words of the comparison."""

from __future__ import annotations

from collections.abc import Iterable, Iterator


def no_longer(verb: str, was: Iterable[str], now: Iterable[str]) -> Iterator[str]:
    """Yield each name that a verb no longer holds of."""
    kept = set(now)
    for name in was:
        if name not in kept:
            yield f"no longer {verb} {name}"
