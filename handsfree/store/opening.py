"""Which store an address names."""

from __future__ import annotations

from handsfree.problem import Problem
from handsfree.store.port import VisitStore
from handsfree.store.postgresql import SCHEME, open_postgresql


def open_store(address: str) -> VisitStore:
    """Return the store at an address: a database of a PostgreSQL server.

    Raises Problem when the address is of another kind, or the database cannot be used.
    """
    if not address.startswith(SCHEME):
        raise Problem("this is no address of a store", remedy=f"write {SCHEME}USER@HOST/DATABASE")
    return open_postgresql(address)
