"""The shapes of all figures of this bench: shares, rates an hour, distributions, amounts, each with its count."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any, Protocol

import numpy as np
from scipy.stats import chi2

from tests.bench.hearing.measures import interval, told


class Value(Protocol):
    """What a figure can be."""

    def __str__(self) -> str:
        """Return it as it is printed."""

    def as_json(self) -> dict[str, Any]:
        """Return it for a machine."""


@dataclass(frozen=True)
class Share:
    """So many of so many, with the 95 % interval of Wilson (1927)."""

    count: int
    of: int

    def __str__(self) -> str:
        return told(self.count, self.of)

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "interval_95": interval(self.count, self.of)}


@dataclass(frozen=True)
class AnHour:
    """Events in so many hours; 95 % interval of a Poisson rate, exact (F. Garwood, Biometrika 28, 1936)."""

    count: int
    hours: float

    @property
    def interval(self) -> tuple[float, float]:
        """Lower and upper end, an hour."""
        low = chi2.ppf(0.025, 2 * self.count) / 2 if self.count else 0.0
        return float(low / self.hours), float(chi2.ppf(0.975, 2 * self.count + 2) / 2 / self.hours)

    def __str__(self) -> str:
        low, high = self.interval
        return f"{self.count} in {self.hours:.2f} h = {self.count / self.hours:.1f} an hour ({low:.1f}-{high:.1f})"

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "interval_95": self.interval}


@dataclass(frozen=True)
class Spread:
    """A distribution: its count, the 5th, 50th and 95th percentile, and the ends."""

    values: tuple[float, ...]
    unit: str

    @classmethod
    def of(cls, values: Iterable[float], unit: str) -> Spread:
        """Take the values in."""
        return cls(tuple(float(each) for each in values), unit)

    def __str__(self) -> str:
        if not self.values:
            return "nothing measured"
        low, middle, high = np.percentile(self.values, [5, 50, 95])
        return (
            f"5/50/95 % {low:.0f}/{middle:.0f}/{high:.0f} {self.unit}, "
            f"{min(self.values):.0f} to {max(self.values):.0f}, n = {len(self.values)}"
        )

    def as_json(self) -> dict[str, Any]:
        marks = (0, 5, 25, 50, 75, 95, 100)
        found = np.percentile(self.values, marks) if self.values else []
        percentiles = {str(mark): float(each) for mark, each in zip(marks, found, strict=False)}
        return {"count": len(self.values), "unit": self.unit, "percentiles": percentiles}


@dataclass(frozen=True)
class Amount:
    """One number."""

    value: float
    unit: str
    digits: int = 1

    def __str__(self) -> str:
        return f"{self.value:.{self.digits}f} {self.unit}"

    def as_json(self) -> dict[str, Any]:
        return {"value": self.value, "unit": self.unit}


@dataclass(frozen=True)
class Note:
    """Something told in words."""

    text: str

    def __str__(self) -> str:
        return self.text

    def as_json(self) -> dict[str, Any]:
        return {"text": self.text}


@dataclass(frozen=True)
class Figure:
    """A value and what it is."""

    name: str
    value: Value

    def line(self) -> str:
        """Return it as a line."""
        return f"  {self.name:<72} {self.value}"
