"""What advice for a turn follows in a trade: the value to bring into the maker's band, and what forbids it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from handsfree.measurement.advice import Task
from handsfree.trades.sheets import Sheets


@dataclass(frozen=True)
class Forbids:
    """Why no adjuster is turned while a calculation's last outcome is outside."""

    reason: str
    """For the record."""
    refusal: str
    """The name of what is said, among the refusals of the language."""


@dataclass(frozen=True)
class Adjusting:
    """What may be adjusted in a trade. As it stands here nothing may."""

    follows: str = ""
    """The quantity that adjusters are turned for; its settled values are what is learned from."""
    watched: str = ""
    """The quantity that shows first that a turn was a danger; it is called at once after one not as advised.

    It is asked for by its name. Left empty, nothing is asked.
    """
    needs: frozenset[str] = frozenset()
    """The quantities that the readings behind a piece of advice must hold."""
    forbidding: Mapping[str, Forbids] = field(default_factory=dict)
    """Calculation -> why nothing is turned while it was last outside."""

    def allowed(self, sheets: Sheets) -> bool:
        """Say whether the maker allows adjustment."""
        del sheets
        return False

    def adjusters(self, sheets: Sheets) -> Mapping[str, str]:
        """Return rate -> its adjuster, as it is said."""
        del sheets
        return {}

    def task(self, sheets: Sheets) -> Task:
        """Return the bands to reach and the adjusters to reach them with."""
        del sheets
        return Task(bands={}, adjusters={})
