"""Mutants that may survive, each with its reason: equivalent ones, and those that nobody could tell from the code.

They are kept in `accepted.yaml` by file and by the text of the altered line, since line numbers move.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ruamel.yaml import YAML

from tests.bench.mutation.mutants import Mutant

KEPT = Path(__file__).with_name("accepted.yaml")


@dataclass(frozen=True)
class Accepted:
    """A line of a file, what it may become (any change of it when left out), and why that may survive."""

    source: str
    line: str
    reason: str
    becomes: str = ""

    def covers(self, mutant: Mutant) -> bool:
        if mutant.target.source != self.source:
            return False
        before, after = mutant.change()
        return self.line in before and (not self.becomes or self.becomes in after)


def accepted() -> list[Accepted]:
    """Return every mutant that may survive."""
    kept = YAML(typ="safe").load(KEPT.read_text("utf-8")) or {}
    return [
        Accepted(source, **{k: str(v) for k, v in one.items()}) for source, every in kept.items() for one in every
    ]
