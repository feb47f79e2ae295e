"""The two sheets a visit works from, as every trade has them: the maker's data for a model, the facts of one job.

A limit that neither sheet gives does not exist: "no limit loaded: see the manual". Nothing is invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from itertools import combinations
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from handsfree.blocks import Block, Day, Exact, Name, as_tuple
from handsfree.bundles.version import PATTERN
from handsfree.trades import DEFAULT_TRADE
from handsfree.units import dimension


def outside(value: Decimal, low: Decimal | None, high: Decimal | None) -> str:
    """Return on which side of two edges a value lies ("below 0.8"), or "" within; an edge may be open."""
    if low is not None and value < low:
        return f"below {low}"
    return f"above {high}" if high is not None and value > high else ""


class MakerBand(Block):
    """A band from the maker's manual; an edge left out is open."""

    low: Exact | None = None
    """The lowest value allowed; empty when it is open."""
    high: Exact | None = None
    """The highest value allowed; empty when it is open."""
    page: int
    """The page of the manual where it stands."""

    @model_validator(mode="after")
    def _sensible(self) -> MakerBand:
        if self.low is None and self.high is None:
            raise ValueError("give low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        return self


PersonalNumber = Annotated[str, BeforeValidator(str), Field(pattern=r"^[1-9][0-9]{2,5}$")]


class Colleague(Block):
    """Somebody who may answer in the place of a second person."""

    name: str
    """Their name, as it stands on the paper."""
    number: PersonalNumber
    """Their own number, three to six digits, the first not zero: called after each of their answers."""


class SecondPerson(Block):
    """Who may answer where a procedure asks for a second person."""

    who: Literal["another", "anybody"] = "another"
    """Whether the second person must be another than the technician, or may be anybody named here."""
    people: Annotated[tuple[Colleague, ...], BeforeValidator(as_tuple)] = ()
    """Those who may answer, each with a number of their own."""

    @model_validator(mode="after")
    def _told_apart(self) -> SecondPerson:
        for number, other in combinations((one.number for one in self.people), 2):
            if sum(one != two for one, two in zip(number, other, strict=False)) < 2:
                raise ValueError(f"the numbers {number} and {other} must differ in two digits or more")
        return self


class Manual(Block):
    """Which document the data was taken from."""

    file: str
    """The manual's file or number, as it is found again."""
    revision: str
    """Its revision or date: another one may give other figures."""


class Person(Block):
    """Who does the work."""

    name: str
    """The technician's name, as it stands on the paper."""
    licence: str
    """The licence or registration for gas, with its expiry where it has one."""


class Instrument(Block):
    """Something that measures."""

    name: str
    """What it is."""
    serial: str
    """Its serial number, as it stands on the instrument."""
    calibrated_until: Day
    """The last day of its calibration, from the certificate; a visit after it stops."""
    shows: dict[str, str] = Field(default_factory=dict)
    """The unit it shows in place of the program's, both as UCUM codes: {mbar: "[in_i'H2O]", Cel: "[degF]"}."""

    @model_validator(mode="after")
    def _shows_alike(self) -> Instrument:
        for own, shown in self.shows.items():
            if dimension(own) != dimension(shown):  # UnknownUnit is a ValueError that says it
                raise ValueError(
                    f"{own} and {shown} measure different things, so one cannot be shown for the other"
                )
        return self


class Alert(Block):
    """Who is told when nobody answers at something that fires."""

    who: str = Field(min_length=2, max_length=40)
    """As it is spoken and shown: "the office"."""
    number: str = Field(min_length=2, max_length=40)
    """The number that reaches them; a device's own command for alerts is given it too."""


class ApplianceSheet(Block):
    """The maker's data for one model, as every trade has it."""

    handsfree: Literal[1]
    trade: Name = DEFAULT_TRADE
    """The trade whose facts it holds."""
    appliance: str
    """The model's name."""
    version: str | None = Field(default=None, pattern=PATTERN)
    """The version of this sheet, as 1.0.0, raised with each change: people sign it, and it can be withdrawn."""
    manual: Manual
    """The maker's manual that every figure comes from."""
    wait_after_change_seconds: int | None = Field(default=None, ge=0, le=3600)
    """How long the maker wants readings to wait after a change."""
    hold_minutes: int | None = Field(default=None, ge=1, le=240)
    """How long the control holds a rate before it lets go by itself."""

    times_seconds: dict[Name, int] = Field(default_factory=dict)
    """How long things take by the maker, by name (`cycle: 480`); gates name them as their work."""

    def source(self, page: int) -> str:
        """Return the source of a figure: file, page and revision."""
        return f"{self.manual.file}, page {page}, revision {self.manual.revision}"


class JobSheet(Block):
    """The facts of one job, as every trade has them."""

    handsfree: Literal[1]
    trade: Name = DEFAULT_TRADE
    """The trade whose facts it holds."""
    job: str
    """The job's number or name."""
    site: str
    """Where it is, as it is asked for on arrival."""
    technician: Person
    """Who does the work."""
    appliance: str = Field(pattern=r"^[A-Za-z0-9._-]+\.yaml$")
    """The appliance sheet's file, beside this one."""
    serial: str
    """The appliance's serial number."""
    altitude_metre: Exact = Decimal(0)
    """The height of the site above the sea; feet are taken too."""
    alert: Alert | None = None
    """Who is told when nobody answers while something fires."""
    language: Name | None = None
    """The language that the visit is led in, such as `german`: one of the procedure's, its own when left out."""
    second_person: SecondPerson | None = None
    """Who may answer where a procedure asks for a second person."""
    instruments: Annotated[tuple[Instrument, ...], BeforeValidator(as_tuple)] = ()
    """What is measured with."""
    emergency_number: str = ""
    """Whom to call in an emergency; it stands on the warning notice."""
    sound: Literal["ask", "kept", "not kept"] = "ask"
    """Whether its sound is kept: asked at the opening, agreed to before, or never (words and scores stay)."""
    photos: Literal["wanted", "none"] = "wanted"
    """Whether photos are asked for where the procedure says so, or none where the site forbids pictures."""
    next_visit: Day | None = None
    """When the next visit is due, as agreed; it stands on the customer's page."""

    def numbered(self) -> dict[str, tuple[str, bool]]:
        """Return number -> who has it, and whether they may answer as second person."""
        if self.second_person is None:
            return {}
        other, own = self.second_person.who == "another", self.technician.name
        return {one.number: (one.name, not (other and one.name == own)) for one in self.second_person.people}

    @property
    def measuring(self) -> tuple[Instrument, ...]:
        """Every instrument of the job, the chief one first."""
        return self.instruments

    @property
    def calibrated_until(self) -> date | None:
        """The last day on which every instrument is in date; None where no instrument is named."""
        return min((one.calibrated_until for one in self.measuring), default=None)


class Sheets(Block):
    """Both sheets of a visit. A trade's own class narrows the two."""

    job: JobSheet
    appliance: ApplianceSheet

    def disagreements(self) -> Iterator[tuple[str, str, str]]:
        """Yield what of the job does not fit the appliance: the job sheet's key, what is wrong, what to do."""
        return iter(())

    def own_facts(self) -> dict[str, str]:
        """Return the facts of the job that only this trade has, by name, as they are shown."""
        return {}

    def same_facts(self) -> tuple[str, ...]:
        """Return which of those must be the same before readings of two visits are compared."""
        return ()

    def shows(self) -> dict[str, str]:
        """Return the unit that instruments show in place of the program's: of several the chief one's."""
        return {own: shown for one in reversed(self.job.measuring) for own, shown in one.shows.items()}

    def ranges(self) -> dict[str, MakerBand]:
        """Return the ranges that the maker gives for what is read, by quantity, in its unit."""
        return {}

    @classmethod
    def choices(cls) -> dict[str, tuple[str, ...]]:
        """Return the facts that have choices which their type does not tell, such as `job.fuel`, with these."""
        return {}

    def chosen(self, fact: str) -> str | None:
        """Return the choice that stands at a fact such as `job.fuel`; None where it is not given."""
        found = fact_of(self, fact)
        return None if found is None else str(found)

    @classmethod
    def judged_by(cls) -> dict[str, tuple[str, ...]]:
        """Return fact of the maker's data -> the calculations that have no limit without it."""
        return {}

    def limits(self) -> dict[str, object]:
        """Return what the maker may give, by the name it is shown by; None where the sheet is silent."""
        return {}


def fact_of(sheets: Sheets, path: str) -> object:
    """Return a fact of the sheets by its path, such as `job.gauge_accuracy`; None where there is none."""
    found: object = sheets
    for name in path.split("."):
        found = getattr(found, name, None)
    return found
