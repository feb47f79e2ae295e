"""The trade's files, read as the program reads them."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from pathlib import Path

import handsfree
from handsfree.formulas.files import read_formulas, read_tables
from handsfree.formulas.formula import Formula, FormulaResult, Given, work_out
from handsfree.formulas.tables import Table
from tests.formulas.documents import read

FOLDER = Path(handsfree.__file__).parent / "trades" / "cooling"


def content(name: str) -> dict[str, dict[str, object]]:
    return read(FOLDER / name).content


@cache
def tables() -> dict[str, Table]:
    return dict(read_tables(read(FOLDER / "saturation.yaml"))["saturation"].tables)


@cache
def formulas() -> dict[str, Formula]:
    units = {name: str(facts["unit"]) for name, facts in content("quantities.yaml").items()}
    families = read_tables(read(FOLDER / "saturation.yaml"))
    return read_formulas(read(FOLDER / "calculations.yaml"), units, families)


def given(value: str | float, unit: str, uncertainty: str = "0") -> Given:
    return Given(Decimal(str(value)), unit, Decimal(uncertainty))


def result(name: str, refrigerant: str = "", **inputs: Given) -> FormulaResult:
    inputs.setdefault("altitude", given(0, "m"))
    chosen = {"refrigerant": tables()[refrigerant]} if refrigerant else {}
    return work_out(formulas()[name], inputs, chosen)


def boiling(refrigerant: str, line: str, bar: float) -> float:
    """Return the temperature in °C at a pressure in bar absolute."""
    return float(tables()[refrigerant].look_back(line, Decimal(repr(bar)) * 100000)) - 273.15
