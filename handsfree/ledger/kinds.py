"""The only kinds of entry that the ledger knows, and what their events hold; all others are the session's."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

OPENED = "visit-opened"
"""The first entry: `sources` (name to SHA-256), `utc_offset` (minutes), and what the session adds."""
OWN_MEMBERS = frozenset({"sources", "utc_offset", "demo"})
"""Members of the first event that are the ledger's; `demo`, there only when true: the visit is invented."""
RESUMED = "visit-resumed"
"""After an interruption: `set_aside` (`file`, `bytes`, `sha256` of each torn end found), `utc_offset`."""
CLOCK_JUMPED = "clock-jumped"
"""The wall clock was set: `by` milliseconds; `utc_offset` and `utc_offset_before` in minutes."""
CLOSED = "visit-closed"
"""The last entry; its event is the session's."""
SOUND_REDACTED = "sound-redacted"
"""A line of `redactions.jsonl`."""

_DIGEST = re.compile(r"[0-9a-f]{64}")


def is_digest(value: Any) -> bool:
    """Say whether a value is 32 bytes in lower-case hex: a SHA-256 or an Ed25519 public key."""
    return isinstance(value, str) and _DIGEST.fullmatch(value) is not None


def is_well_formed(kind: str, event: Mapping[str, Any]) -> bool:
    """Say whether an event of one of the ledger's own kinds holds what it must; others always do."""
    if kind == OPENED:
        sources = event.get("sources")
        return isinstance(sources, dict) and all(map(is_digest, sources.values())) and _whole(event, "utc_offset")
    if kind == CLOCK_JUMPED:
        return _whole(event, "by", "utc_offset", "utc_offset_before")
    if kind == RESUMED:
        asides = event.get("set_aside")
        return isinstance(asides, list) and all(map(_is_aside, asides)) and _whole(event, "utc_offset")
    return True


def _is_aside(aside: Any) -> bool:
    return (
        isinstance(aside, dict)
        and aside.keys() == {"file", "bytes", "sha256"}
        and isinstance(aside["file"], str)
        and is_digest(aside["sha256"])
        and _whole(aside, "bytes")
    )


def _whole(event: Mapping[str, Any], *names: str) -> bool:
    return all(type(event.get(name)) is int for name in names)
