"""A mapping: what stands where in the lines of one instrument, as the company that owns it writes it down.

Nothing here knows any instrument: INSTRUMENT.md describes the keys, and a company tries its file by
`handsfree instrument MAPPING FILE`.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping as Dictionary
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BeforeValidator, Field, field_validator, model_validator

from handsfree.blocks import Block, FieldName, as_tuple
from handsfree.documents import Document, read_document, validate
from handsfree.problem import Problem
from handsfree.units import UnknownUnit, UnlikeUnits, difference, dimension

DisplayMark = Annotated[str, Field(min_length=1, max_length=20)]
DisplayMarks = Annotated[tuple[DisplayMark, ...], BeforeValidator(as_tuple), Field(max_length=20)]
ColumnName = Annotated[str, Field(min_length=1, max_length=80)] | Annotated[int, Field(ge=1, le=200)]

_SEPARATORS = {"tab": "\t", "space": " "}
_CODES = frozenset("dmYyHMSfzp%I")
_OFFSET = re.compile(r"([+-])([0-9]{2}):([0-9]{2})")


class MappedColumn(Block):
    """One column, or one key, and the quantity that it holds."""

    column: ColumnName
    """Its name as the header or the key writes it; without a header its number, from 1."""
    quantity: FieldName
    """The quantity, by its name in the trade."""
    unit: Annotated[str, Field(min_length=1, max_length=30)]
    """The UCUM code of the unit that the instrument writes it in, such as `%`, `[ppm]`, mbar or Cel."""

    @field_validator("unit")
    @classmethod
    def _known(cls, unit: str) -> str:
        try:
            dimension(unit)
        except UnknownUnit as error:
            raise ValueError(str(error)) from error
        return unit


class MappedTime(Block):
    """Where the instrument writes when it took a row."""

    columns: Annotated[tuple[ColumnName, ...], BeforeValidator(as_tuple), Field(min_length=1, max_length=3)]
    """The columns or keys that make up the time, in order; they are joined by a space."""
    form: Annotated[str, Field(min_length=2, max_length=60)]
    """As POSIX strptime has it: %d day, %m month, %Y year, %H hour, %M minute, %S second, %z zone."""
    zone: str | None = None
    """The zone of the instrument's clock: UTC, an offset such as "+01:00", or a name such as Europe/Vienna."""

    @field_validator("form")
    @classmethod
    def _numbers_alone(cls, form: str) -> str:
        used = re.findall(r"%(.?)", form)
        if unknown := [code for code in used if code not in _CODES]:
            raise ValueError(f"%{unknown[0]} cannot stand here; write %d %m %Y %y %H %I %p %M %S %f %z")
        if not ({"d", "m", "M"} <= set(used) and {"Y", "y"} & set(used) and {"H", "I"} & set(used)):
            raise ValueError("write a whole time: a day, a month, a year, an hour and a minute")
        return form

    @field_validator("zone")
    @classmethod
    def _zone(cls, zone: str | None) -> str | None:
        if zone is not None:
            _zone_of(zone)
        return zone

    @model_validator(mode="after")
    def _one_zone(self) -> MappedTime:
        if ("%z" in self.form) == (self.zone is not None):
            raise ValueError("give a zone, or a form with %z: one of both")
        return self

    def read(self, text: str) -> datetime:
        """Return the moment that a text tells, with its zone; ValueError when it is written otherwise."""
        moment = datetime.strptime(text, self.form)  # noqa: DTZ007 - the zone is added below
        return moment if self.zone is None else moment.replace(tzinfo=_zone_of(self.zone))


def _zone_of(name: str) -> tzinfo:
    if name == "UTC":
        return UTC
    if offset := _OFFSET.fullmatch(name):
        sign = -1 if offset[1] == "-" else 1
        away = timedelta(hours=int(offset[2]), minutes=int(offset[3]))
        if away < timedelta(hours=15):
            return timezone(sign * away)
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(
            f"there is no zone {name!r}; write UTC, an offset such as +01:00, or a name such as Europe/Vienna"
        ) from error


class Mapping(Block):
    """What stands where in the lines of one instrument."""

    instrument: Literal[1]
    """The version of this language."""
    name: Annotated[str, Field(min_length=1, max_length=60)]
    """What the company calls the instrument; it stands in the record with each row."""
    form: Literal["columns", "pairs"]
    """`columns`: the same cells in each line. `pairs`: each cell is a key, a sign and a value."""
    separator: Annotated[str, Field(min_length=1, max_length=5)]
    """The sign between two cells, or `tab`, or `space` (one or more)."""
    assign: Annotated[str, Field(min_length=1, max_length=1)] = "="
    """The sign between key and value, where the form is `pairs`."""
    decimal: Literal[".", ","] = "."
    """The sign before the decimals. Groups of thousands are not read."""
    header: Annotated[int, Field(ge=0, le=5)] = 0
    """How many rows stand before the first values; the first of them names the columns."""
    encoding: Literal["utf-8", "latin-1", "cp1252"] = "utf-8"
    """How letters are written in bytes."""
    time: MappedTime | None = None
    """Where the time of a row stands; without it a row counts as taken when it came."""
    columns: Annotated[tuple[MappedColumn, ...], BeforeValidator(as_tuple), Field(min_length=1, max_length=40)]
    """The columns that hold quantities; all others are left alone."""
    over_range: DisplayMarks = ()
    """What stands in place of a number beyond the instrument's range."""
    fault: DisplayMarks = ()
    """What stands in place of a number that could not be read: it counts as no value."""

    @model_validator(mode="after")
    def _together(self) -> Mapping:
        if len(self.separator) > 1 and self.separator not in _SEPARATORS:
            raise ValueError("separator: write one sign, tab or space")
        if self.decimal == self.separator:
            raise ValueError("decimal and separator are the same sign: a number could not be told from two cells")
        if self.form == "pairs" and self.header:
            raise ValueError("header: lines of pairs have none; leave it out")
        named = [one.column for one in self.columns] + list(self.time.columns if self.time else ())
        numbered = self.form == "columns" and not self.header
        if numbered and any(isinstance(one, str) for one in named):
            raise ValueError("columns: without a header each column is a number, counted from 1")
        if self.form == "pairs" and any(isinstance(one, int) for one in named):
            raise ValueError("columns: in lines of pairs each column is a key")
        for what in ("column", "quantity"):
            seen = [getattr(one, what) for one in self.columns]
            if twice := [one for one in seen if seen.count(one) > 1]:
                raise ValueError(f"columns: the {what} {twice[0]} stands twice")
        marks = [mark.strip().casefold() for mark in (*self.over_range, *self.fault)]
        if len(set(marks)) < len(marks):
            raise ValueError("over_range: a mark means one thing; write each once")
        return self

    @cached_property
    def between(self) -> str:
        """The sign between two cells itself."""
        return _SEPARATORS.get(self.separator, self.separator)

    @cached_property
    def number(self) -> re.Pattern[str]:
        """What a number of this instrument looks like."""
        return re.compile(rf"[+-]?[0-9]{{1,12}}(?:{re.escape(self.decimal)}[0-9]{{1,12}})?")


@dataclass(frozen=True)
class MappingFile:
    """A mapping with its file, so that a fault found later names the line."""

    mapping: Mapping
    document: Document

    @property
    def sha256(self) -> str:
        """SHA-256 of the file's text, in hex."""
        return hashlib.sha256(self.document.text.encode()).hexdigest()

    def fault(self, at: tuple[str | int, ...], what: str, remedy: str) -> Problem:
        """Return a fault of the mapping at the line of one of its keys."""
        return Problem(what, where=str(self.document.place(at)), remedy=remedy)


def load_mapping(path: Path, units: Dictionary[str, str]) -> MappingFile:
    """Read a mapping; `units` holds the quantities that are known, each with its UCUM unit.

    Raises Problem with file:line at the first fault: a key, a quantity nobody knows, a unit of another kind.
    """
    document = read_document(path)
    file = MappingFile(validate(Mapping, document, remedy="see handsfree/instruments/INSTRUMENT.md"), document)
    for number, one in enumerate(file.mapping.columns):
        if one.quantity not in units:
            what = f"there is no quantity {one.quantity!r} in this trade"
            raise file.fault(("columns", number, "quantity"), what, f"write one of: {', '.join(sorted(units))}")
        try:
            difference(Decimal(1), one.unit, units[one.quantity])
        except UnlikeUnits as error:
            raise file.fault(
                ("columns", number, "unit"), str(error), f"{one.quantity} is kept in {units[one.quantity]}"
            ) from error
    return file
