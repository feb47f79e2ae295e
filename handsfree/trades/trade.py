"""A trade: the functions that the session and the proofs need of it, each with a default that is empty.

A trade of data alone is `Trade(name)`: its readings are judged against limits written in its gates, nothing of
it is tied together, weighed or adjusted, and only hazards that are called stop the work.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.measurement.reading import Reading
from handsfree.trades.adjusting import Adjusting
from handsfree.trades.calculation import Calculation
from handsfree.trades.figures import Figure
from handsfree.trades.general import GENERAL
from handsfree.trades.inventing import Inventing
from handsfree.trades.plausibility import Plausibility
from handsfree.trades.sheets import Sheets
from handsfree.trades.stops import Stops


@dataclass(frozen=True)
class Tolerance:
    """The move still to come that a settled quantity may have left, in its unit; the larger of the two."""

    least: Decimal
    share: Decimal = Decimal(0)
    """Of the value."""

    def at(self, value: Decimal) -> Decimal:
        """Return the tolerance at a value."""
        return max(self.least, abs(value) * self.share)


@dataclass(frozen=True)
class AskedApart:
    """Two quantities that the same words may call; when they may have, it is asked which."""

    affirmed: str
    """The one that "yes" means."""
    denied: str
    """The one that "no" means."""
    saying: str
    """What asks, by its name in the language."""

    @property
    def quantities(self) -> frozenset[str]:
        """Both."""
        return frozenset({self.affirmed, self.denied})


@dataclass(frozen=True)
class Running:
    """Something that runs while it is worked on, and may go out by itself."""

    asked_again: str
    """What a recheck after a break calls it."""
    goes_out: str
    """The hazard called when it goes out; the first time at a held rate this only voids the set."""


def none_known(sheets: Sheets, reading: Reading) -> float:
    """Return no uncertainty: the trade says nothing of its instruments."""
    del sheets, reading
    return 0.0


def no_figures(sheets: Sheets, values: Mapping[str, Decimal]) -> tuple[Figure, ...]:
    """Return no figure: the trade works none out for the papers."""
    del sheets, values
    return ()


@dataclass(frozen=True)
class Trade:
    """What a trade can do."""

    name: str
    calculations: Mapping[str, Calculation] = field(default_factory=lambda: GENERAL)
    """By the name that a gate writes and a record keeps."""
    stops: Stops = field(default_factory=Stops)
    plausibility: Plausibility = field(default_factory=Plausibility)
    adjusting: Adjusting = field(default_factory=Adjusting)
    inventing: Inventing = field(default_factory=Inventing)
    instrument_uncertainty: Callable[[Sheets, Reading], float] = none_known
    """The standard uncertainty that the accuracy of the job's instrument leaves a reading."""
    figures: Callable[[Sheets, Mapping[str, Decimal]], tuple[Figure, ...]] = no_figures
    """What readings of one measurement point come to, for the papers."""
    tolerances: Mapping[str, Tolerance] = field(default_factory=dict)
    """When a quantity counts as settled; any other by the steps of its display."""
    flicker: Mapping[str, Decimal] = field(default_factory=dict)
    """How far two calls of one live display may differ, in the quantity's unit; any other by one step."""
    other_units: Mapping[str, str] = field(default_factory=dict)
    """Quantity -> the same one read in other units, which stands for it."""
    asked_apart: AskedApart | None = None
    running: Running | None = None
