"""What share is heard right at the first call, at a ratio of speech to noise: from the counts of the bench."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from handsfree.hearing.model_folder import ModelFolder
from handsfree.problem import Problem

FILE = "accuracy.json"
"""Beside the model's folder, written by the bench that measured the model."""

Count = Annotated[int, Field(ge=0)]


class _Shape(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Counts(_Shape):
    """How many clips were heard right, of how many, at each level."""

    right: list[Count]
    of: list[Annotated[int, Field(gt=0)]]


class Accuracy(_Shape):
    """The counts of one measurement of one model, by kind of what was said, at rising levels in dB."""

    measured: str
    model: str
    levels_db: Annotated[list[float | int], Field(min_length=1)]
    kinds: dict[str, Counts]

    @model_validator(mode="after")
    def _fits(self) -> Accuracy:
        rows = [row for counts in self.kinds.values() for row in (counts.right, counts.of)]
        if any(len(row) != len(self.levels_db) for row in rows):
            raise ValueError("a row has not as many counts as there are levels")
        if self.levels_db != sorted(set(self.levels_db)):
            raise ValueError("the levels do not rise")
        if any(r > n for counts in self.kinds.values() for r, n in zip(counts.right, counts.of, strict=True)):
            raise ValueError("more were right than there were")
        return self

    def share(self, kind: str, ratio_db: float) -> float:
        """Return the share right at a ratio: a straight line between the levels measured, level beyond them."""
        counts = self.kinds[kind]
        shares = [right / of for right, of in zip(counts.right, counts.of, strict=True)]
        levels = self.levels_db
        place = bisect_left(levels, ratio_db)
        if place in {0, len(levels)}:
            return shares[min(place, len(levels) - 1)]
        part = (ratio_db - levels[place - 1]) / (levels[place] - levels[place - 1])
        return shares[place - 1] + part * (shares[place] - shares[place - 1])

    def shares(self, ratio_db: float) -> Mapping[str, float]:
        """Return the share right of each kind."""
        return {kind: self.share(kind, ratio_db) for kind in self.kinds}

    def sentence(self, ratio_db: float) -> str:
        """Return what to expect, in one sentence."""
        told = ", ".join(f"{in_words(share)} {kind}" for kind, share in self.shares(ratio_db).items())
        return f"Expect {told} right at the first call (measured {self.measured})."

    def warning(self, ratio_db: float) -> str:
        """Return what goes wrong where the sound is refused, in one sentence that does not read as praise."""
        told = ", ".join(f"{in_words(1 - share)} {kind}" for kind, share in self.shares(ratio_db).items())
        return f"Not right at the first call here: {told} (measured {self.measured})."


def in_words(share: float) -> str:
    """Return a share in round numbers; never "all", for no count shows that."""
    tenths = round(10 * share)
    if share < 0.95:  # above it tenths would say all
        return f"about {min(tenths, 9)} of 10" if tenths else "hardly any"
    return f"about {min(round(100 * share), 99)} of 100"


def accuracy_of(model_folder: Path) -> Accuracy | None:
    """Return what was measured of a model; None when nothing was, or only another model was.

    Raises Problem when the file is not what the bench writes.
    """
    file = model_folder.parent / FILE
    if not file.is_file():
        return None
    try:
        found = Accuracy.model_validate_json(file.read_bytes())
    except (ValidationError, OSError) as fault:
        raise Problem(
            "the figures of the speech model cannot be read", where=str(file), remedy="install the program again"
        ) from fault
    return found if found.kinds and found.model == ModelFolder(model_folder).identity else None
