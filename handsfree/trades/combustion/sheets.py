"""The sheets of combustion: fuels with the maker's bands, adjusters, the analyser, the gas meter."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Literal

from pydantic import Field

from handsfree.blocks import Block, Exact, Name
from handsfree.problem import Problem
from handsfree.trades.combustion.fuels import FUELS, fuel_named
from handsfree.trades.sheets import ApplianceSheet, Instrument, JobSheet, MakerBand, Sheets

Rate = Literal["maximum", "minimum"]
Direction = Literal["clockwise", "counter-clockwise"]


class RatesRule(Block):
    """The maker's rule between the two rates, for CO2 at maximum minus CO2 at minimum, in points of per cent."""

    low: Exact
    """The least difference that the maker allows."""
    high: Exact
    """The greatest difference that the maker allows."""
    page: int
    """The page of the manual where it stands."""


class CarbonMonoxideLimit(Block):
    """The maker's CO limit on the basis the manual uses; limits on different bases are not interchangeable."""

    basis: Literal["air-free", "as measured", "ratio"]
    """ppm air-free, ppm as measured, or the ratio CO/CO2 (a plain number such as 0.0040)."""
    high: Exact
    """The highest CO on that basis."""
    page: int
    """The page of the manual where it stands."""


class FuelData(Block):
    """What the manual says for one fuel."""

    co2: dict[Rate, MakerBand] = Field(default_factory=dict)
    """The maker's band of CO2, in per cent, at each rate."""
    between_rates: RatesRule | None = None
    """The maker's rule for CO2 at maximum minus CO2 at minimum."""
    co: CarbonMonoxideLimit | None = None
    """The maker's limit of CO: beyond it the boiler is not left running."""
    standing_pressure: MakerBand | None = None
    """mbar"""
    working_pressure: MakerBand | None = None
    """mbar"""
    lockup_pressure: MakerBand | None = None
    """mbar, with the burner off and its gas valve closed"""
    meter_pressure: MakerBand | None = None
    """mbar, at the meter at full load"""
    pressure_drop: MakerBand | None = None
    """mbar, from the meter to the appliance at full load"""
    input_kilowatt: dict[Rate, Exact] = Field(default_factory=dict)
    """Rated heat input on the sheet's basis."""


class Adjuster(Block):
    """One adjuster: how it is found and which way makes the mixture richer. Directions differ between makers."""

    said: str
    """What the screw is called when it is spoken of."""
    key: str
    """The tool that fits it."""
    richer: Direction
    """The direction, facing the screw, that raises CO2."""
    most_eighths: int = Field(ge=1, le=8)
    """The largest step the maker allows, in eighths of a turn."""
    page: int
    """The page of the manual where it stands."""


class CombustionApplianceSheet(ApplianceSheet):
    """The maker's data for one boiler or burner."""

    basis: Literal["gross", "net"]
    """The basis of the rated inputs; gross and net are never compared."""
    fuels: dict[str, FuelData] = Field(min_length=1)
    """The gases that the manual gives figures for, such as natural gas and propane."""
    adjustment: Literal["allowed", "forbidden"]
    """Whether the maker lets a technician turn the screws; no turn is ever advised where he does not."""
    adjusters: dict[Rate, Adjuster] = Field(default_factory=dict)
    """The screw for each rate; without it no turn is advised."""
    middle_rate: Literal["read", "not read"] = "not read"
    """Whether the maker asks for a reading held at the middle of the range too."""
    flue_temperature_high: MakerBand | None = None
    """Cel"""
    water_pressure: MakerBand | None = None
    """bar, cold"""
    flame_current: MakerBand | None = None
    """uA"""
    vent_pressure: MakerBand | None = None
    """mbar, in the vent at maximum rate"""
    flow_temperature: MakerBand | None = None
    """Cel"""
    return_temperature: MakerBand | None = None
    """Cel"""
    fan_speed: MakerBand | None = None
    """Revolutions per minute, at any rate"""


class Analyser(Instrument):
    """The flue gas analyser."""

    co2: Literal["measured", "computed"]
    """Whether it measures CO2 or computes it from O2: the cross-check is four times tighter when computed."""
    co2_uncertainty: Exact = Decimal("0.3")
    """Expanded (k = 2), in points of per cent."""
    o2_uncertainty: Exact = Decimal("0.3")
    """Expanded (k = 2), in points of per cent."""
    co_uncertainty: Exact = Decimal(20)
    """Expanded (k = 2), in ppm; or 5 % of the reading when that is larger."""
    uncertainty_source: str = "EN 50379-2 class limits, from memory"
    """Where those uncertainties come from."""


class GasMeter(Block):
    """The meter used for timing, and the gas it measures."""

    unit: Literal["m3", "[cft_i]"] = "m3"
    """What the meter shows: cubic metres, or cubic feet."""
    heating_value: Exact
    """MJ/m3 (or Btu/ft3 for a cubic-foot meter), from the supplier's bill or notice."""
    basis: Literal["gross", "net"] = "gross"
    """The basis of that heating value."""
    source: str
    """Where the heating value comes from."""


_OF_THE_FUEL = ("lockup_pressure", "meter_pressure", "pressure_drop")
_OF_THE_APPLIANCE = (
    "water_pressure",
    "flame_current",
    "vent_pressure",
    "flow_temperature",
    "return_temperature",
    "fan_speed",
)
"""Ranges of the maker that no verdict judges, each under the name of its quantity and in its unit."""


class CombustionJobSheet(JobSheet):
    """The facts of one job at a boiler or burner."""

    fuel: str
    """The gas in the pipe: it is called by name on the visit, and must be this one."""
    instrument: Analyser
    """The flue gas analyser."""
    meter: GasMeter | None = None
    """The gas meter, for the heat input; without it a timed input has no limit."""
    tighter: dict[Name, Exact] = Field(default_factory=dict)
    """Stop limits made tighter by local code or company rule; never looser."""

    @property
    def measuring(self) -> tuple[Instrument, ...]:
        """The analyser, then the others."""
        return (self.instrument, *self.instruments)


class CombustionSheets(Sheets):
    """Both sheets of a visit at a boiler or burner, and the data of the fuel at hand."""

    job: CombustionJobSheet
    appliance: CombustionApplianceSheet

    @property
    def fuel(self) -> FuelData:
        """The maker's data for the job's fuel."""
        return self.appliance.fuels[self.job.fuel]

    def disagreements(self) -> Iterator[tuple[str, str, str]]:
        """Yield a fuel that the maker's data does not have."""
        if self.job.fuel not in self.appliance.fuels:
            what = f"the appliance sheet has no data for {self.job.fuel!r}"
            yield "fuel", what, f"it has: {', '.join(self.appliance.fuels)}"

    def own_facts(self) -> dict[str, str]:
        """Return the fuel, the basis of the maker's data, and how the analyser comes by CO2."""
        return {"fuel": self.job.fuel, "basis": self.appliance.basis, "CO2": self.job.instrument.co2}

    def same_facts(self) -> tuple[str, ...]:
        """Return the fuel: another one burns with other values."""
        return ("fuel",)

    def shows(self) -> dict[str, str]:
        """Return the units that instruments and the meter show in place of the program's."""
        meter = self.job.meter
        own = {} if meter is None or meter.unit == "m3" else {"m3": meter.unit}
        return {**super().shows(), **own}

    def ranges(self) -> dict[str, MakerBand]:
        """Return the ranges that the maker gives and no verdict judges: a value outside is asked about."""
        given = {name: getattr(self.fuel, name) for name in _OF_THE_FUEL}
        given |= {name: getattr(self.appliance, name) for name in _OF_THE_APPLIANCE}
        return {name: band for name, band in given.items() if band is not None}

    @classmethod
    def choices(cls) -> dict[str, tuple[str, ...]]:
        """Return the fuels that are known."""
        return {"job.fuel": tuple(FUELS)}

    def chosen(self, fact: str) -> str | None:
        """Return the choice at a fact; a fuel by the one name that it is known by."""
        return fuel_named(self.job.fuel).name if fact == "job.fuel" else super().chosen(fact)

    @classmethod
    def judged_by(cls) -> dict[str, tuple[str, ...]]:
        """Return what the calculations of combustion judge against."""
        return {
            "co2": ("combustion-at-rate",),
            "between_rates": ("rates-compared",),
            "standing_pressure": ("supply-pressure",),
            "working_pressure": ("supply-pressure",),
            "input_kilowatt": ("gas-input",),
        }

    def limits(self) -> dict[str, object]:
        """Return what the maker may give for the job's fuel."""
        fuel, appliance = self.fuel, self.appliance
        return {
            "CO2 at maximum rate": fuel.co2.get("maximum"),
            "CO2 at minimum rate": fuel.co2.get("minimum"),
            "rule between the rates": fuel.between_rates,
            "CO": fuel.co,
            "standing pressure": fuel.standing_pressure,
            "working pressure": fuel.working_pressure,
            "rated input": fuel.input_kilowatt or None,
            "flue temperature": appliance.flue_temperature_high,
            **{name.replace("_", " "): getattr(fuel, name) for name in _OF_THE_FUEL},
            **{name.replace("_", " "): getattr(appliance, name) for name in _OF_THE_APPLIANCE},
            "wait after a change": appliance.wait_after_change_seconds,
            "hold time-out": appliance.hold_minutes,
            "adjuster for maximum rate": appliance.adjusters.get("maximum"),
            "adjuster for minimum rate": appliance.adjusters.get("minimum"),
        }


def combustion(sheets: Sheets) -> CombustionSheets:
    """Return the sheets of a visit as those of combustion; Problem when they are another trade's."""
    if not isinstance(sheets, CombustionSheets):
        what = f"this needs the sheets of combustion, and the job sheet is of {sheets.job.trade}"
        raise Problem(what, remedy="give a job sheet of combustion")
    return sheets
