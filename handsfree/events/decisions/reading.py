"""A reading as it is recorded."""

from __future__ import annotations

from functools import cached_property

from handsfree.events.inputs import Record
from handsfree.measurement.reading import Reading, recorded


class ReadingRecord(Record):
    """A reading: its exact decimal as text, its UCUM unit, its resolution."""

    quantity: str
    value: str
    """A decimal, or "over range" or "no reading" as the display showed."""
    unit: str
    resolution: str
    called: str = ""
    """The decimal as it was called, where it was called in another unit; `value` is its conversion."""
    called_unit: str = ""
    """The UCUM unit it was called in, where that is another."""

    @cached_property
    def reading(self) -> Reading:
        """The number as it was read; Problem where the display showed none."""
        return recorded(self.quantity, self.value, self.unit, self.resolution)

    @property
    def shown(self) -> tuple[str, str]:
        """The value and the unit as the person knows them."""
        return (self.called, self.called_unit) if self.called_unit else (self.value, self.unit)
