"""What the fleet found, put into the store of a desk over the same folder: its pages show it at once."""

from __future__ import annotations

import base64
import json
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from handsfree.desk.index import Index, key_of
from handsfree.fleet.jobs import JobOutcome
from handsfree.fleet.results import ResultsFile
from handsfree.fleet.stored_visits import VisitFolders, VisitSource
from handsfree.problem import Problem
from handsfree.rehearing.findings import from_json
from handsfree.rehearing.kept import keep_result
from handsfree.store.kept import Examined
from handsfree.store.opening import open_store

HERE = "desk"
"""The address of the store that a desk of this machine keeps by itself."""


class DeskStore:
    """The store of a desk, which looks through its folder as the desk does when it starts."""

    def __init__(self, source: VisitSource, address: str, enrolment: Path | None) -> None:
        """Raise Problem when the visits are no folders, or the store cannot be used."""
        if not isinstance(source, VisitFolders):
            raise Problem(
                "a desk shows visits that lie in folders", remedy="lay them out: handsfree fleet restore"
            )
        self._root = source.root
        store = None if address == HERE else open_store(address)
        self._index = Index(self._root, enrolment=enrolment, store=store)
        self._index.scan()

    def keep(self, name: str, outcome: JobOutcome) -> None:
        """Keep what was found of a visit, and what was heard in it where the desk of this machine looks for it."""
        found = outcome.found
        if "facts" not in found:
            self._index.keep(key_of(name), Examined({"seal": outcome.verdict, "sentence": outcome.sentence}))
            return
        if heard := found.get("heard_again"):
            keep_result(self._root / name, from_json(json.dumps(heard).encode()))
        view = base64.b64decode(found["view"])
        self._index.keep(key_of(name), Examined(found["facts"], found["rows"], view))

    def keep_the_rest(
        self, places: Mapping[str, Sequence[str]], kept: ResultsFile, anyhow: Collection[str]
    ) -> None:
        """Keep what the desk still lacks of visits that were done before, or are copies of others.

        `places` has the names of visits by digest; those of the digests in `anyhow` are kept in any case.
        """
        store = self._index.store
        lacking = {row.key for row in store.unchecked(len(store.lights()) + 1)}
        wanted = {
            digest: [name for name in names if digest in anyhow or key_of(name) in lacking]
            for digest, names in places.items()
        }
        for digest, outcome in kept.outcomes({digest for digest, names in wanted.items() if names}):
            for name in wanted[digest]:
                self.keep(name, outcome)

    def close(self) -> None:
        """Let go of the store."""
        self._index.store.close()
