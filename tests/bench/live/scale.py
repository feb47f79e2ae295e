"""How much of everything is measured."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[3]
MODEL = ROOT / "models" / "english"


@dataclass(frozen=True)
class Scale:
    """What the command line asks for: `hours` of endurance, and whether all else is kept short."""

    hours: float
    quick: bool

    def many(self, number: int) -> int:
        """Return a number of things to measure, a fifth of it when it is to be quick."""
        return max(1, number // 5) if self.quick else number
