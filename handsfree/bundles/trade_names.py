"""How the files of an author's own trade are called in a bundle and with a record, beside the procedure."""

from __future__ import annotations


def kept_prefix(trade: str) -> str:
    """Return what stands before the names of a trade's files."""
    return f"trades.{trade}."
