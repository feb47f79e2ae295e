"""What combustion reads from the two sheets of a visit."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Literal, Protocol, cast

from handsfree.trades import sheets as every

Rate = Literal["maximum", "minimum"]
Direction = Literal["clockwise", "counter-clockwise"]
Basis = Literal["gross", "net"]


class MakerBand(Protocol):
    """A band from the maker's manual; an edge left out is open."""

    @property
    def low(self) -> Decimal | None:
        """The least value allowed."""

    @property
    def high(self) -> Decimal | None:
        """The greatest value allowed."""

    @property
    def page(self) -> int:
        """The page of the manual where it stands."""


class CarbonMonoxideLimit(Protocol):
    """The maker's CO limit on the basis the manual uses."""

    @property
    def basis(self) -> Literal["air-free", "as measured", "ratio"]:
        """What the limit is given in."""

    @property
    def high(self) -> Decimal:
        """The greatest value allowed."""

    @property
    def page(self) -> int:
        """The page of the manual where it stands."""


class FuelData(Protocol):
    """What the manual says for one fuel."""

    @property
    def co2(self) -> Mapping[Rate, MakerBand]:
        """The CO2 bands, in per cent."""

    @property
    def between_rates(self) -> MakerBand | None:
        """The rule for CO2 at maximum minus CO2 at minimum, in points of per cent."""

    @property
    def co(self) -> CarbonMonoxideLimit | None:
        """The CO limit."""

    @property
    def standing_pressure(self) -> MakerBand | None:
        """In mbar."""

    @property
    def working_pressure(self) -> MakerBand | None:
        """In mbar."""

    @property
    def input_kilowatt(self) -> Mapping[Rate, Decimal]:
        """The rated heat input."""


class Adjuster(Protocol):
    """One adjuster."""

    @property
    def said(self) -> str:
        """How it is found."""

    @property
    def richer(self) -> Direction:
        """The direction, facing the screw, that raises CO2."""

    @property
    def most_eighths(self) -> int:
        """The largest step the maker allows."""


class Analyser(Protocol):
    """The flue gas analyser; its uncertainties are expanded, k = 2."""

    @property
    def co2(self) -> Literal["measured", "computed"]:
        """Whether it measures CO2 or computes it from O2."""

    @property
    def co2_uncertainty(self) -> Decimal:
        """In points of per cent."""

    @property
    def o2_uncertainty(self) -> Decimal:
        """In points of per cent."""

    @property
    def co_uncertainty(self) -> Decimal:
        """In ppm; or 5 % of the reading when that is larger."""


class GasMeter(Protocol):
    """The meter used for timing, and the gas it measures."""

    @property
    def unit(self) -> Literal["m3", "[cft_i]"]:
        """What it counts."""

    @property
    def heating_value(self) -> Decimal:
        """MJ/m3, or Btu/ft3 for a cubic-foot meter."""

    @property
    def basis(self) -> Basis:
        """The basis of the heating value."""

    @property
    def source(self) -> str:
        """Where the heating value is from."""


class CombustionJobSheet(every.JobSheet, Protocol):
    """The facts of one job at a boiler or burner."""

    @property
    def fuel(self) -> str:
        """The fuel's name."""

    @property
    def altitude_metre(self) -> Decimal:
        """How high the site lies."""

    @property
    def instrument(self) -> Analyser:
        """The flue gas analyser."""

    @property
    def meter(self) -> GasMeter | None:
        """The gas meter."""

    @property
    def tighter(self) -> Mapping[str, Decimal]:
        """Stop limits made tighter by local code or company rule."""


class CombustionApplianceSheet(every.ApplianceSheet, Protocol):
    """The maker's data for one boiler or burner."""

    @property
    def basis(self) -> Basis:
        """The basis of the rated inputs."""

    @property
    def adjustment(self) -> Literal["allowed", "forbidden"]:
        """Whether the maker allows it."""

    @property
    def adjusters(self) -> Mapping[Rate, Adjuster]:
        """The adjuster of each rate."""

    @property
    def flue_temperature_high(self) -> MakerBand | None:
        """In Cel."""


class CombustionSheets(Protocol):
    """Both sheets of a visit at a boiler or burner, and the data of the fuel at hand."""

    @property
    def job(self) -> CombustionJobSheet:
        """The job."""

    @property
    def appliance(self) -> CombustionApplianceSheet:
        """The maker's data."""

    @property
    def fuel(self) -> FuelData:
        """The maker's data for the job's fuel."""


def combustion(sheets: every.Sheets) -> CombustionSheets:
    """Return the sheets of a visit as those of combustion."""
    return cast(CombustionSheets, sheets)
