"""How quantities of a trade stand to each other when nothing is wrong: data, for a value to be asked about twice.

It refuses nothing and judges nothing. A pair that no gas can have is another matter (`plausibility.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from pydantic import Field, RootModel, model_validator

from handsfree.blocks import Block, Exact, FieldName, Name


class RelationBlock(Block):
    """One relation between quantities of one unit that are read together, or one after the other unchanged."""

    high: FieldName
    """The quantity that is the higher of the two."""
    low: FieldName
    """The quantity that is the lower of the two."""
    difference: FieldName | None = None
    """The quantity that is the first less the second, where one is read."""
    room: Exact = Decimal(0)
    """How far they may be out of it, in their unit: two displays, read one after the other."""
    source: str

    @model_validator(mode="after")
    def _apart(self) -> RelationBlock:
        if len(set(self.quantities)) < len(self.quantities):
            raise ValueError("high, low and difference must be different quantities")
        if self.room < 0:
            raise ValueError("room must not be below zero")
        return self

    @property
    def quantities(self) -> tuple[str, ...]:
        """All that must be read before it can be told."""
        return (self.high, self.low, *((self.difference,) if self.difference else ()))

    def holds(self, values: Mapping[str, Decimal]) -> bool:
        """Say whether values of all its quantities stand so to each other."""
        between = values[self.high] - values[self.low]
        if self.difference is None:
            return between >= -self.room
        return abs(between - values[self.difference]) <= self.room

    def told(self, values: Mapping[str, Decimal]) -> str:
        """Return the values that are out of it, for the record."""
        read = ", ".join(f"{one.replace('_', ' ')} {values[one]}" for one in self.quantities)
        want = f"{self.high} - {self.low} = {self.difference}" if self.difference else f"{self.low} <= {self.high}"
        return f"{read}: {want.replace('_', ' ')} does not hold ({self.source})"


class RelationsFile(RootModel[dict[Name, RelationBlock]]):
    """`relations.yaml`: every relation of the trade by name; the language says it under that name."""

    root: dict[Name, RelationBlock] = Field(default_factory=dict)
