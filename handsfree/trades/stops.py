"""Stop limits: where work stops, what has passed them, and how a trade tells it from the readings so far.

Each limit has a source. Job sheet, procedure and local code may only tighten it. An open stop is never weighed
against how likely the reading was.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from handsfree.lexicon.meaning import Shown
from handsfree.measurement.reading import Reading
from handsfree.problem import Problem
from handsfree.trades.sheets import Sheets, fact_of

Severity = Literal["evacuate", "off", "hold"]
GRAVITY: tuple[Severity, ...] = ("evacuate", "off", "hold")
"""The gravest first."""

SEVERE: frozenset[Severity] = frozenset({"evacuate", "off"})
"""What stops the work: leave, or switch off. A hold only asks to search."""


@dataclass(frozen=True)
class StopLimit:
    """One limit: the work stops when the value passes it on the named side."""

    name: str
    value: Decimal
    unit: str
    """UCUM code."""
    stops: Literal["above", "at or above", "below"]
    severity: Severity
    source: str

    def passed_by(self, value: Decimal) -> bool:
        """Say whether the value is on the wrong side."""
        if self.stops == "above":
            return value > self.value
        return value >= self.value if self.stops == "at or above" else value < self.value

    def tightened(self, value: Decimal, source: str) -> StopLimit:
        """Return the limit moved to the strict side; moving it the other way is a Problem."""
        if not value.is_finite():
            raise Problem(f"the stop limit {self.name} is not a number: {value}")
        if value < self.value if self.stops == "below" else value > self.value:
            raise Problem(
                f"the stop limit {self.name} may only be tightened: {value} {self.unit} "
                f"is looser than {self.value} {self.unit} ({self.source})"
            )
        return StopLimit(self.name, value, self.unit, self.stops, self.severity, source)

    def opened_by(self, value: Decimal) -> OpenStop:
        """Return the stop that a value beyond this limit opens."""
        passed = f"{self.stops} {self.value} {self.unit}"
        return OpenStop(self.name, self.severity, f"{value} {self.unit}", passed, self.source)


@dataclass(frozen=True)
class OpenStop:
    """A limit that is passed: what to do, and the numbers that say so."""

    name: str
    severity: Severity
    value: str
    limit: str
    source: str


@dataclass(frozen=True)
class Stops:
    """When the readings of a trade stop the work. As it stands here they never do: only what is called does."""

    over_range: frozenset[str] = frozenset()
    """Quantities whose "over range" stops at once, without a read-back."""
    called_twice: frozenset[str] = frozenset()
    """Quantities called a second time whenever a set opens a stop, since it may be theirs."""
    rising: tuple[str, ...] = ()
    """Quantities whose rise from set to set is watched."""

    @property
    def guarded(self) -> frozenset[str]:
        """Every quantity that takes part in a stop limit."""
        return self.over_range | self.called_twice | frozenset(self.rising)

    def open(
        self, sheets: Sheets, values: Mapping[str, Shown], *, may_adjust: bool = True
    ) -> tuple[OpenStop, ...]:
        """Return the stops that values open, the gravest first; those that only ask to search are left out.

        `may_adjust` says that an adjuster may still bring a value back, where a trade's limit waits for that.
        """
        del sheets, values, may_adjust
        return ()

    def open_rising(self, sheets: Sheets, quantity: str, last: Shown) -> tuple[OpenStop, ...]:
        """Return the stops that a rising quantity opens at its last value."""
        del sheets, quantity, last
        return ()

    def opens(self, sheets: Sheets, this_set: Mapping[str, Reading], candidate: Reading) -> bool:
        """Say whether a candidate, with what the set already holds, would pass any limit, even to search."""
        del sheets, this_set, candidate
        return False


@dataclass(frozen=True)
class LimitOnSheet:
    """An upper limit whose value the maker gives on the appliance sheet; without one nothing stops at it."""

    name: str
    fact: str
    """Path to the value in the sheets, in the quantity's unit: `appliance.highest_pressure`."""
    unit: str
    """UCUM code of the quantity."""
    source: str

    def on(self, sheets: Sheets) -> tuple[StopLimit, ...]:
        """Return the limit of this appliance; none where its sheet does not say."""
        value = fact_of(sheets, self.fact)
        if not isinstance(value, Decimal):
            return ()
        return (StopLimit(self.name, value, self.unit, "above", "off", self.source),)


@dataclass(frozen=True)
class LimitsByQuantity(Stops):
    """Stops of a trade whose limits each stand on one quantity: the same for every model, or the maker's."""

    limits: Mapping[str, tuple[StopLimit, ...]] = field(default_factory=dict)
    on_sheet: Mapping[str, tuple[LimitOnSheet, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for quantity in self.over_range:
            if not _passed(self.limits.get(quantity, ()), "over range"):
                raise Problem(f"over range of {quantity} cannot stop the work: it has no upper stop limit")

    @property
    def guarded(self) -> frozenset[str]:
        """Every quantity that has a limit, on the sheet or of the trade."""
        return super().guarded | self.limits.keys() | self.on_sheet.keys()

    def open(
        self, sheets: Sheets, values: Mapping[str, Shown], *, may_adjust: bool = True
    ) -> tuple[OpenStop, ...]:
        """Return the stops that values open; over range opens the gravest upper limit that stops the work."""
        del may_adjust
        found = [stop for one, value in values.items() for stop in _passed(self._limits(sheets, one), value)]
        ranked = sorted(found, key=lambda stop: GRAVITY.index(stop.severity))
        return tuple(stop for stop in ranked if stop.severity in SEVERE)

    def opens(self, sheets: Sheets, this_set: Mapping[str, Reading], candidate: Reading) -> bool:
        """Say whether the candidate passes a limit; the others of its set take no part."""
        del this_set
        return bool(_passed(self._limits(sheets, candidate.quantity), candidate.value))

    def _limits(self, sheets: Sheets, quantity: str) -> tuple[StopLimit, ...]:
        makers = (limit for one in self.on_sheet.get(quantity, ()) for limit in one.on(sheets))
        return (*self.limits.get(quantity, ()), *makers)


def _passed(limits: tuple[StopLimit, ...], value: Shown) -> list[OpenStop]:
    """Return the stops that one value opens; over range opens the gravest upper limit that stops the work."""
    if isinstance(value, Decimal):
        return [limit.opened_by(value) for limit in limits if limit.passed_by(value)]
    upper = [limit for limit in limits if limit.stops != "below" and limit.severity in SEVERE]
    if value == "no reading" or not upper:
        return []
    gravest = min(upper, key=lambda limit: GRAVITY.index(limit.severity))
    return [OpenStop(gravest.name, gravest.severity, value, "the instrument's range", gravest.source)]
