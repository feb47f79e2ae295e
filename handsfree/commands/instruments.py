"""Trying the mapping of an instrument before a visit leans on it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from handsfree.documents import NoSuchFile
from handsfree.instruments.mapping import MappingFile, load_mapping
from handsfree.instruments.rows import ByteLines, ReadRow, Rows, UnreadLine
from handsfree.problem import ExitCode, Problem, one_line
from handsfree.procedure.trades import trade_data_asked
from handsfree.regular_files import open_regular
from handsfree.trades import DEFAULT_TRADE

app = typer.Typer(help="Instruments.")

PIECE = 65_536
MOST_TOLD = 5
"""Reasons for lines that were left out that are printed; the rest are counted."""


@app.command("instrument")
def instrument_command(
    mapping: Annotated[
        Path, typer.Argument(help="The mapping: a YAML file (handsfree/instruments/INSTRUMENT.md).")
    ],
    lines: Annotated[Path, typer.Argument(help="A file of the instrument's lines, as it wrote them.")],
    *,
    trade: Annotated[str, typer.Option(help="The trade whose quantities are read.")] = DEFAULT_TRADE,
    rows: Annotated[int, typer.Option(min=0, help="How many rows to print.")] = 20,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text, one row a line.")] = False,
) -> None:
    """Try a mapping: read an instrument's lines by it; tell what is read and what is left out."""
    quantities = trade_data_asked(trade, None, mapping.parent).quantities
    file = load_mapping(mapping, {name: known.unit for name, known in quantities.items()})
    units = {one.quantity: one.unit for one in file.mapping.columns}
    count, left_out = 0, list[UnreadLine]()
    for number, read in _read(file, lines):
        if isinstance(read, UnreadLine):
            left_out.append(read)
        else:
            count += 1
            if count <= rows:
                typer.echo(_as_json(number, read, units) if as_json else _told(number, read, units))
    for one in left_out[:MOST_TOLD]:
        typer.echo(f"{one_line(str(lines))}:{one.line}: left out: {one_line(one.why)}", err=True)
    typer.echo(f"{count} rows read, {len(left_out)} lines left out", err=as_json)
    if not count:
        raise typer.Exit(ExitCode.FAILED)


def _read(file: MappingFile, path: Path) -> Iterator[tuple[int, ReadRow | UnreadLine]]:
    """Yield what the lines of a file hold, each with its number."""
    rows, divided = Rows(file), ByteLines()
    try:
        with open_regular(path, through_links=True) as stream:
            while piece := stream.read(PIECE):
                for line in divided.of(piece):
                    if (read := rows.read(line)) is not None:
                        yield rows.line, read
            for line in divided.last():
                if (read := rows.read(line)) is not None:
                    yield rows.line, read
    except OSError as error:
        raise (NoSuchFile if isinstance(error, FileNotFoundError) else Problem)(
            f"cannot read this file: {error.strerror}",
            where=str(path),
            remedy="name a file with lines that the instrument wrote",
        ) from error


def _told(number: int, row: ReadRow, units: dict[str, str]) -> str:
    said = [
        f"{name} {value if isinstance(value, str) else f'{value:f} {units[name]}'}"
        for name, value in row.values.items()
    ]
    return " · ".join([f"line {number}", *([f"{row.taken}"] if row.taken else []), *said])


def _as_json(number: int, row: ReadRow, units: dict[str, str]) -> str:
    values = {
        name: {"value": value if isinstance(value, str) else f"{value:f}", "unit": units[name]}
        for name, value in row.values.items()
    }
    taken = None if row.taken is None else row.taken.isoformat()
    return json.dumps({"line": number, "taken": taken, "values": values}, ensure_ascii=False)
