"""Invented flue gas and sheets for visits at random: CO2 about the maker's band, and the O2 that goes with it."""

from __future__ import annotations

import random
from datetime import date
from decimal import Decimal

from handsfree.measurement.distributions import rounded
from handsfree.trades.combustion.flue_gas import oxygen_from_carbon_dioxide
from handsfree.trades.combustion.sheets import CombustionSheets, combustion
from handsfree.trades.combustion.stops import fuel_of
from handsfree.trades.inventing import Chance, Inventing
from handsfree.trades.sheets import Sheets

_TENTH = Decimal("0.1")


class _Combustion(Inventing):
    """The cause of a set is its CO2."""

    def cause(self, sheets: Sheets, rate: str | None, chance: Chance) -> Decimal:
        """Return a CO2 in the middle of the maker's band, at its edges or beyond."""
        band = combustion(sheets).fuel.co2.get("minimum" if rate == "minimum" else "maximum")
        low = Decimal("8.5") if band is None or band.low is None else band.low
        high = low + 1 if band is None or band.high is None else band.high
        unusual = (low - Decimal("0.6"), low - _TENTH, low, high, high + _TENTH)
        value = chance.dice.choice(unusual) if chance.dice.random() < chance.unusual else (low + high) / 2
        if chance.always_off is not None:
            value = low + chance.always_off
        return value.quantize(_TENTH)

    def reading(self, sheets: Sheets, quantity: str, cause: Decimal) -> Decimal:
        """Return the CO2 itself, or the O2 that the fuel gives with it."""
        if quantity == "co2":
            return cause
        return rounded(oxygen_from_carbon_dioxide(fuel_of(sheets), float(cause)), _TENTH)

    def sheets(self, sheets: Sheets, dice: random.Random) -> Sheets:
        """Return the sheets, some of their limits missing on some visits."""
        assert isinstance(sheets, CombustionSheets)
        missing: dict[str, object] = {}
        if dice.random() < 0.2:
            missing["co2"] = {}
        for name in ("between_rates", "standing_pressure", "co"):
            if dice.random() < 0.15:
                missing[name] = None
        if dice.random() < 0.15:
            missing["input_kilowatt"] = {}
        fuels = {**sheets.appliance.fuels, sheets.job.fuel: sheets.fuel.model_copy(update=missing)}
        job = sheets.job
        if dice.random() < 0.03:
            job = job.model_copy(
                update={"instrument": job.instrument.model_copy(update={"calibrated_until": date(2000, 1, 1)})}
            )
        return CombustionSheets(job=job, appliance=sheets.appliance.model_copy(update={"fuels": fuels}))


INVENTING = _Combustion(tied=frozenset({"co2", "o2"}), step=_TENTH)
