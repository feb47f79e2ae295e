"""YAML text as the loaders get it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from handsfree.documents import Document, parse_document, read_document
from handsfree.formulas.files import read_formulas, read_tables
from handsfree.formulas.formula import Formula
from handsfree.formulas.tables import Family

QUANTITIES = {
    "pressure": "bar",
    "temperature": "Cel",
    "other_temperature": "[degF]",
    "length": "m",
    "time": "s",
    "ratio": "1",
}

CURVE = """
tables:
  saturation:
    says: an invented curve
    argument: {name: temperature, unit: Cel, says: temperature of}
    columns:
      - {name: bubble, unit: bar, is: absolute, says: bubble pressure of}
      - {name: dew, unit: bar, is: absolute, says: dew pressure of}
      - {name: density, unit: kg/m3, says: density of}
    tables:
      X1:
        says: invented
        source: invented for the tests
        uncertainty: 0.1
        rows:
          - [0, 2.0, 1.8, 1000]
          - [10, 3.0, 2.7, 900]
          - [20, 5.0, 4.5, 950]
"""


def read(path: Path) -> Document:
    """Read a file."""
    return read_document(path)


@cache
def families(text: str = CURVE) -> dict[str, Family]:
    """Return the tables of a text."""
    return read_tables(parse_document(text, "tables.yaml"))


def formulas(text: str, quantities: Mapping[str, str] = QUANTITIES) -> dict[str, Formula]:
    """Return the formulas of a text."""
    return read_formulas(parse_document(text, "calculations.yaml"), quantities, families())


def formula(value: str, unit: str, inputs: str, decimals: int = 3, more: str = "") -> Formula:
    """Return one formula; `inputs` is YAML, one input a line."""
    lines = "".join(f"      {line.strip()}\n" for line in inputs.strip().splitlines())
    text = (
        f"calculations:\n  it:\n    says: a test\n    inputs:\n{lines}    unit: '{unit}'\n{more}"
        f"    value: {value}\n    decimals: {decimals}\n    source: invented for the tests\n"
    )
    return formulas(text)["it"]
