"""What is adjusted at a burner: CO2 at each rate, by the maker's adjuster for it."""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.measurement.advice import AdjusterData, Task
from handsfree.measurement.verdict import Band
from handsfree.trades.adjusting import Adjusting, Forbids
from handsfree.trades.combustion.sheets import combustion
from handsfree.trades.sheets import Sheets


class BurnerAdjusting(Adjusting):
    """Screws for maximum and minimum, as far as the maker's sheet gives them."""

    def allowed(self, sheets: Sheets) -> bool:
        """Say whether the maker allows adjustment."""
        return combustion(sheets).appliance.adjustment == "allowed"

    def adjusters(self, sheets: Sheets) -> Mapping[str, str]:
        """Return rate -> its adjuster, as it is said."""
        return {rate: one.said for rate, one in combustion(sheets).appliance.adjusters.items()}

    def task(self, sheets: Sheets) -> Task:
        """Return the maker's CO2 bands, the rule between the rates, and the adjusters."""
        fuel, appliance = combustion(sheets).fuel, combustion(sheets).appliance
        between = fuel.between_rates
        return Task(
            bands={
                rate: Band(band.low, band.high, appliance.source(band.page)) for rate, band in fuel.co2.items()
            },
            adjusters={
                rate: AdjusterData(one.richer, one.most_eighths) for rate, one in appliance.adjusters.items()
            },
            between=None if between is None else Band(between.low, between.high, appliance.source(between.page)),
        )


ADJUSTING = BurnerAdjusting(
    follows="co2",
    watched="co",
    needs=frozenset({"co2", "o2", "co"}),
    forbidding={"supply-pressure": Forbids("gas pressure is outside the plate", "pressure")},
)
