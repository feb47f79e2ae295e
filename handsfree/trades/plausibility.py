"""What a trade knows of readings before they are believed: laws that tie quantities, and what is likely.

It only ever weighs, or has a value asked again. Nothing here decides a verdict, and a value beyond a stop limit
is never made less likely.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.measurement.reading import Reading
from handsfree.trades.sheets import Sheets


@dataclass(frozen=True)
class Known:
    """What a visit knows when a value is called."""

    sheets: Sheets
    rate: str | None = None
    """The rate that the gate at hand reads at."""
    this_set: Mapping[str, Reading] = field(default_factory=dict)
    """Called or accepted in the set being taken."""
    previous_set: Mapping[str, Reading] = field(default_factory=dict)
    """The set before, at the same rate with nothing changed since; empty after any change."""
    since_change: Mapping[str, Reading] = field(default_factory=dict)
    """The newest reading of each quantity taken since anything was changed, at any place: the load is the same."""
    together: tuple[Mapping[str, Decimal], ...] = ()
    """The tied quantities of the sets accepted so far this visit, at any rate."""


@dataclass(frozen=True)
class Consistency:
    """Whether quantities read together can all be true."""

    consistent: bool
    sentence: str
    quantities: tuple[str, ...]
    """Those that are judged together, and asked again together."""
    fits: tuple[str, ...] = ()
    """Other supplies (a fuel, a refrigerant) that they would fit, when they do not fit the job's."""
    near_limit: bool = False
    """A limit lies so near that a mishearing too small to show here could change the verdict."""


@dataclass(frozen=True)
class Plausibility:
    """What a trade holds against readings. As it stands here nothing is tied and everything is as likely."""

    tied: tuple[str, ...] = ()
    """Quantities of one set that a law ties together, in the order they are asked again."""
    untrue: str = ""
    """For the record: that the tied quantities cannot all be true."""

    def judged(self, known: Known) -> Consistency | None:
        """Return whether the tied quantities of the set at hand can all be true; None until all are read."""
        if not self.tied or not set(self.tied) <= set(known.this_set):
            return None
        return self.consistent(known)

    def consistent(self, known: Known) -> Consistency:
        """Return whether the tied quantities, all of them read, can all be true."""
        del known
        return Consistency(True, "nothing ties them", self.tied)

    def log_prior(self, known: Known, candidate: Reading) -> Decimal:
        """Return the natural logarithm of a candidate's prior density, rounded; 0 where nothing is expected."""
        del known, candidate
        return Decimal(0)
