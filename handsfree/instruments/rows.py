"""The lines of an instrument read by its mapping: a row of values, nothing, or why a line is left out."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from handsfree.instruments.mapping import ColumnName, Mapping, MappingFile
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE, Special

LONGEST_LINE = 4_000
"""Bytes of a line; what is longer is left out as soon as it is, so that a line without an end costs nothing."""


@dataclass(frozen=True)
class ReadRow:
    """The values of one line by quantity, as written: a number, "over range", or "no reading" for a fault."""

    values: dict[str, Decimal | Special]
    taken: datetime | None = None
    """When the instrument says that it took them; None where the mapping names no time."""


@dataclass(frozen=True)
class UnreadLine:
    """A line that cannot be read, and why."""

    line: int
    """Counted from 1 since the source was opened."""
    why: str


@dataclass
class Rows:
    """Reads lines in their order; the header, where there is one, comes first and may come again."""

    file: MappingFile
    line: int = 0
    _header: tuple[str, ...] | None = None
    _places: dict[ColumnName, int] = field(default_factory=dict)
    _header_left: int = 0

    def read(self, line: bytes) -> ReadRow | UnreadLine | None:
        """Return what a line holds; None for a blank one and for the header.

        Raises Problem at the line of the mapping when the header lacks a column that it names.
        """
        self.line += 1
        try:
            return self._read(line)
        except ValueError as error:
            return UnreadLine(self.line, str(error))

    def _read(self, line: bytes) -> ReadRow | None:
        mapping = self.file.mapping
        if len(line) > LONGEST_LINE:
            raise ValueError(f"it has more than {LONGEST_LINE:,} bytes")
        try:
            text = line.decode(mapping.encoding).removeprefix("\ufeff").rstrip("\r\n")
        except UnicodeDecodeError:
            raise ValueError(f"it is no {mapping.encoding} text") from None
        if not text.strip():
            return None
        if any(not letter.isprintable() and letter != "\t" for letter in text):
            raise ValueError("it holds signs that no text has")
        if self._header_left:
            self._header_left -= 1
            return None
        return self._pairs(text) if mapping.form == "pairs" else self._columns(_cells(text, mapping))

    def _columns(self, cells: Sequence[str]) -> ReadRow | None:
        mapping = self.file.mapping
        if mapping.header and (self._header is None or tuple(cells) == self._header):
            self._take_header(tuple(cells))
            return None
        if not mapping.header:
            self._places = {number: number - 1 for number in range(1, len(cells) + 1)}
        elif len(cells) != len(self._header or ()):
            raise ValueError(f"it has {len(cells)} cells and its header {len(self._header or ())}")
        return self._row({name: cells[at] for name, at in self._places.items()})

    def _take_header(self, cells: tuple[str, ...]) -> None:
        self._header, self._header_left = cells, self.file.mapping.header - 1
        self._places = {name: at for at, name in enumerate(cells)}
        self._places |= {at + 1: at for at in range(len(cells))}
        for at, name in _named(self.file.mapping):
            if name not in self._places or cells.count(str(name)) > 1:
                often = "twice or more" if name in self._places else "nowhere"
                what = f"the instrument's header has the column {name!r} {often}"
                raise self.file.fault(at, what, f"its columns are: {', '.join(cells)[:200]}")

    def _pairs(self, text: str) -> ReadRow:
        mapping = self.file.mapping
        found: dict[ColumnName, str] = {}
        for cell in filter(None, (cell.strip() for cell in text.split(mapping.between))):
            key, sign, value = cell.partition(mapping.assign)
            if not sign:
                raise ValueError(f"{cell[:40]!r} is no pair")
            if key.strip() in found:
                raise ValueError(f"the key {key.strip()[:40]!r} stands twice")
            found[key.strip()] = value.strip()
        return self._row(found)

    def _row(self, cells: dict[ColumnName, str]) -> ReadRow:
        mapping = self.file.mapping
        values: dict[str, Decimal | Special] = {}
        for one in mapping.columns:
            cell = cells.get(one.column)
            if cell is None and mapping.form == "columns":
                raise ValueError(f"it has no column {one.column}")
            if cell:
                values[one.quantity] = _value(cell, mapping)
        if not values:
            raise ValueError("it holds no value that the mapping names")
        if mapping.time is None:
            return ReadRow(values)
        written = " ".join(cells.get(name, "") for name in mapping.time.columns)
        try:
            return ReadRow(values, mapping.time.read(written))
        except (ValueError, OverflowError):
            raise ValueError(f"its time {written[:40]!r} is not written as {mapping.time.form}") from None


def _cells(text: str, mapping: Mapping) -> list[str]:
    """Return the cells of a line, with what is quoted taken as RFC 4180 has it."""
    if mapping.separator == "space":
        return text.split()
    try:
        (row,) = csv.reader([text], delimiter=mapping.between, strict=True)
    except (csv.Error, ValueError):
        raise ValueError("its quotes do not end") from None
    return [cell.strip() for cell in row]


def _value(cell: str, mapping: Mapping) -> Decimal | Special:
    said = cell.casefold()
    if any(said == mark.strip().casefold() for mark in mapping.over_range):
        return OVER_RANGE
    if any(said == mark.strip().casefold() for mark in mapping.fault):
        return NO_READING
    if not mapping.number.fullmatch(cell):
        raise ValueError(f"{cell[:40]!r} is neither a number with the decimal sign {mapping.decimal!r} nor a mark")
    return Decimal(cell.replace(mapping.decimal, "."))


def _named(mapping: Mapping) -> Iterator[tuple[tuple[str | int, ...], ColumnName]]:
    """Yield every column that a mapping names, with where it does."""
    for number, one in enumerate(mapping.columns):
        yield ("columns", number, "column"), one.column
    for number, name in enumerate(mapping.time.columns if mapping.time else ()):
        yield ("time", "columns", number), name


@dataclass
class ByteLines:
    """Divides bytes into lines, however they come in pieces; a line without an end is given out once, cut."""

    _begun: bytes = b""
    _cut: bool = False

    def of(self, piece: bytes) -> Iterator[bytes]:
        """Yield the lines that a piece ends."""
        *whole, rest = piece.split(b"\n")
        for end in whole:
            if not self._cut:
                yield self._begun + end
            self._begun, self._cut = b"", False
        if not self._cut:
            self._begun += rest
        if len(self._begun) > LONGEST_LINE:
            yield self._begun
            self._begun, self._cut = b"", True

    def last(self) -> Iterator[bytes]:
        """Yield the line that was not ended."""
        if self._begun and not self._cut:
            yield self._begun
