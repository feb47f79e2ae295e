"""The bands that the values of a place are judged against later, so that they can stand beside them at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from handsfree.measurement.verdict import Band
from handsfree.session.plan import Plan


@dataclass(frozen=True)
class Wanted:
    """A band, and whether its middle is aimed at."""

    band: Band
    aimed: bool

    def written(self, aim: str) -> str:
        """Return the band in signs, and after `aim` the value that is aimed at."""
        low, high = self.band.low, self.band.high
        if low is None or high is None:
            return f"≤ {high}" if low is None else f"≥ {low}"
        middle = f", {aim} {(low + high) / 2:f}" if self.aimed else ""
        return f"{low}–{high}{middle}"  # noqa: RUF001 - so instruments and manuals print a range

    def leaves_out(self, value: str) -> bool:
        """Say whether a value lies outside; what is no number cannot be told."""
        try:
            return not self.band.holds(Decimal(value))
        except InvalidOperation:
            return False


def wanted_at(plan: Plan, kept_at: str) -> Mapping[str, Wanted]:
    """Return the band of each quantity read at a place, as far as some verdict judges it alone."""
    found: dict[str, Wanted] = {}
    for placed in plan.procedure.gates.values():
        judging = placed.gate.effects.judges
        if judging is None or kept_at not in judging.using.values():
            continue
        calculation = plan.trade.calculations[judging.calculation]
        limits = None if judging.limits is None else judging.limits.on(plan.sheets)
        for quantity, band in calculation.bands_of(plan.sheets, judging.rate, limits).items():
            found.setdefault(quantity, Wanted(band, aimed=bool(calculation.turns)))
    return found
