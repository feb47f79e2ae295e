"""Mutants that may survive, each with its reason: equivalent ones, and those that nobody could tell from the code.

They are kept in `accepted.toml` by file and by the text of the altered line, since line numbers move.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from tests.bench.mutation.mutants import Mutant
from tests.bench.mutation.targets import ROOT

KEPT = Path(__file__).with_name("accepted.toml")


@dataclass(frozen=True)
class Accepted:
    """A line of a file, what it may become (any change of it when left out), and why that may survive."""

    source: str
    line: str
    reason: str
    becomes: tuple[str, ...] = ()

    def covers(self, mutant: Mutant) -> bool:
        if mutant.target.source != self.source:
            return False
        before, after = ([_bare(line) for line in lines] for lines in mutant.change())
        altered = any(_bare(line) in after for line in self.becomes) or not self.becomes
        return _bare(self.line) in before and altered


def accepted() -> list[Accepted]:
    """Return every mutant that may survive."""
    kept = tomllib.loads(KEPT.read_text("utf-8"))["accepted"]
    return [Accepted(one["file"], one["line"], one["reason"], tuple(one.get("becomes", ()))) for one in kept]


def stale(every: list[Accepted]) -> list[Accepted]:
    """Return those whose line is no longer in its file: the code changed, and the reason needs a new look."""
    return [one for one in every if _bare(one.line) not in _bare_lines(one.source)]


def _bare_lines(source: str) -> set[str]:
    path = ROOT / source
    return {_bare(line) for line in path.read_text("utf-8").splitlines()} if path.is_file() else set()


def _bare(line: str) -> str:
    """Return a line without blanks, and without the colon at its end."""
    return "".join(line.split()).removesuffix(":")
