"""The two sheets a visit works from: the maker's data for a model, and the facts of one job.

A limit that neither sheet gives does not exist: "no limit loaded: see the manual". Nothing is invented.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from handsfree.problem import Problem
from handsfree.procedure.model import Block, Exact, Name
from handsfree.procedure.yaml_reader import Document, read_document, validate

Rate = Literal["maximum", "minimum"]
Direction = Literal["clockwise", "counter-clockwise"]
Day = Annotated[
    date, BeforeValidator(lambda value: date.fromisoformat(value) if isinstance(value, str) else value)
]


class MakerBand(Block):
    """A band from the maker's manual; an edge left out is open."""

    low: Exact | None = None
    high: Exact | None = None
    page: int
    """The page of the manual where it stands."""

    @model_validator(mode="after")
    def _sensible(self) -> MakerBand:
        if self.low is None and self.high is None:
            raise ValueError("give low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        return self


class RatesRule(Block):
    """The maker's rule between the two rates, for CO2 at maximum minus CO2 at minimum, in points of per cent."""

    low: Exact
    high: Exact
    page: int


class CarbonMonoxideLimit(Block):
    """The maker's CO limit on the basis the manual uses; limits on different bases are not interchangeable."""

    basis: Literal["air-free", "as measured", "ratio"]
    """ppm air-free, ppm as measured, or the ratio CO/CO2 (a plain number such as 0.0040)."""
    high: Exact
    page: int


class FuelData(Block):
    """What the manual says for one fuel."""

    co2: dict[Rate, MakerBand] = Field(default_factory=dict)
    between_rates: RatesRule | None = None
    co: CarbonMonoxideLimit | None = None
    standing_pressure: MakerBand | None = None
    """mbar"""
    working_pressure: MakerBand | None = None
    """mbar"""
    input_kilowatt: dict[Rate, Exact] = Field(default_factory=dict)
    """Rated heat input on the sheet's basis."""


class Adjuster(Block):
    """One adjuster: how it is found and which way makes the mixture richer. Directions differ between makers."""

    said: str
    key: str
    """The tool that fits it."""
    richer: Direction
    """The direction, facing the screw, that raises CO2."""
    most_eighths: int = Field(ge=1, le=8)
    """The largest step the maker allows, in eighths of a turn."""
    page: int


class Manual(Block):
    """Which document the data was taken from."""

    file: str
    revision: str


class ApplianceSheet(Block):
    """The maker's data for one model."""

    handsfree: Literal[1]
    appliance: str
    manual: Manual
    basis: Literal["gross", "net"]
    """The basis of the rated inputs; gross and net are never compared."""
    fuels: dict[str, FuelData] = Field(min_length=1)
    adjustment: Literal["allowed", "forbidden"]
    adjusters: dict[Rate, Adjuster] = Field(default_factory=dict)
    wait_after_change_seconds: int | None = Field(default=None, ge=0, le=3600)
    hold_minutes: int | None = Field(default=None, ge=1, le=240)
    """How long the control holds a rate before it lets go by itself."""
    flue_temperature_high: MakerBand | None = None
    """Cel"""

    def source(self, page: int) -> str:
        """Return the source of a figure: file, page and revision."""
        return f"{self.manual.file}, page {page}, revision {self.manual.revision}"


class Instrument(Block):
    """The flue gas analyser."""

    name: str
    serial: str
    calibrated_until: Day
    co2: Literal["measured", "computed"]
    """Whether it measures CO2 or computes it from O2: the cross-check is four times tighter when computed."""
    co2_uncertainty: Exact = Decimal("0.3")
    """Expanded (k = 2), in points of per cent."""
    o2_uncertainty: Exact = Decimal("0.3")
    """Expanded (k = 2), in points of per cent."""
    co_uncertainty: Exact = Decimal(20)
    """Expanded (k = 2), in ppm; or 5 % of the reading when that is larger."""
    uncertainty_source: str = "EN 50379-2 class limits, from memory"


class Person(Block):
    """Who does the work."""

    name: str
    licence: str


class GasMeter(Block):
    """The meter used for timing, and the gas it measures."""

    unit: Literal["m3", "[cft_i]"] = "m3"
    heating_value: Exact
    """MJ/m3 (or Btu/ft3 for a cubic-foot meter), from the supplier's bill or notice."""
    basis: Literal["gross", "net"] = "gross"
    source: str


class JobSheet(Block):
    """The facts of one job."""

    handsfree: Literal[1]
    job: str
    """The job's number or name."""
    site: str
    technician: Person
    appliance: str = Field(pattern=r"^[A-Za-z0-9._-]+\.yaml$")
    """The appliance sheet's file, beside this one."""
    serial: str
    fuel: str
    altitude_metre: Exact = Decimal(0)
    instrument: Instrument
    meter: GasMeter | None = None
    tighter: dict[Name, Exact] = Field(default_factory=dict)
    """Stop limits made tighter by local code or company rule; never looser."""

    @property
    def calibrated_until(self) -> date:
        """The last day on which the instrument is in date."""
        return self.instrument.calibrated_until


class Sheets(Block):
    """Both sheets of a visit and the data of the fuel at hand."""

    job: JobSheet
    appliance: ApplianceSheet

    @property
    def fuel(self) -> FuelData:
        """The maker's data for the job's fuel."""
        return self.appliance.fuels[self.job.fuel]


def load_sheets(path: Path) -> tuple[Sheets, tuple[Document, Document]]:
    """Read a job sheet and the appliance sheet it names; raise Problem with the line of the first fault."""
    job_document = read_document(path)
    job = validate(JobSheet, job_document)
    appliance_path = path.parent / job.appliance
    if not appliance_path.is_file():
        raise Problem(
            f"there is no appliance sheet {job.appliance!r} beside the job sheet",
            where=str(job_document.place(("appliance",))),
            remedy="put the procedures team's file there or correct the name",
        )
    document = read_document(appliance_path)
    appliance = validate(ApplianceSheet, document)
    if job.fuel not in appliance.fuels:
        raise Problem(
            f"the appliance sheet has no data for {job.fuel!r}",
            where=str(job_document.place(("fuel",))),
            remedy=f"it has: {', '.join(appliance.fuels)}",
        )
    return Sheets(job=job, appliance=appliance), (job_document, document)
