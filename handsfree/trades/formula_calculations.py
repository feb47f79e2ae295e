"""Formulas of a trade as calculations that a verdict may name: worked out, then held against limits.

Those are the maker's band where the formula names one, else what the gate itself writes.

A trade of data alone judges by these. The standard uncertainty of a result comes from the instruments' limits of
error on the job sheet, from resolution and settling, and from the tables; near an edge JCGM 106 decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import partial

from handsfree.documents import validate
from handsfree.formulas.arithmetic import NoResult
from handsfree.formulas.files import read_formulas, read_tables
from handsfree.formulas.formula import Formula, FormulaInput, Given, TableChoice, work_out
from handsfree.formulas.tables import Family, Table
from handsfree.measurement.uncertainty import combined, rectangular
from handsfree.measurement.verdict import GUARDED, Band, judge
from handsfree.trades.calculation import (
    MISSING,
    NO_LIMIT,
    OUTSIDE,
    TOO_CLOSE,
    WITHIN,
    Calculation,
    Case,
    Judgement,
    from_verdict,
    missing,
    no_limit,
    written_band,
)
from handsfree.trades.files import QuantitiesFile
from handsfree.trades.folder import TradeFolder
from handsfree.trades.sheets import MakerBand, Sheets, fact_of
from handsfree.units import difference

READINGS = "readings"
"""The one input of such a calculation: where its readings were kept."""


def calculations_of(folder: TradeFolder) -> dict[str, Calculation]:
    """Return the calculations that a trade's files declare, by name; Problem with file:line at a fault.

    A formula without a band is judged by limits written in a gate, where it reads anything at all.
    """
    written, tables = folder.documents.get("calculations.yaml"), folder.documents.get("saturation.yaml")
    if written is None:
        return {}
    quantities = validate(QuantitiesFile, folder.document("quantities.yaml")).root
    families = {} if tables is None else read_tables(tables)
    units = {name: facts.unit for name, facts in quantities.items()}
    formulas = read_formulas(written, units, families)
    return {name: _calculation(formula, families) for name, formula in formulas.items() if _read(formula)}


def _read(formula: Formula) -> tuple[str, ...]:
    return tuple(item.quantity for item in formula.inputs if item.quantity is not None)


def _calculation(formula: Formula, families: Mapping[str, Family]) -> Calculation:
    outcomes = (WITHIN, OUTSIDE, TOO_CLOSE, NO_LIMIT, MISSING)
    return Calculation(
        says=formula.says,
        inputs={READINGS: _read(formula)},
        outcomes=tuple(one for one in outcomes if formula.band or one != NO_LIMIT),
        judge=partial(judged, formula, families),
        unit=formula.unit,
        uncertainty="instruments' limits of error, resolution, settling and tables: JCGM 100, 5.1.2; JCGM 106",
        source=formula.source,
        limits=not formula.band,
    )


def _band(formula: Formula, case: Case) -> Band | None:
    """Return the limits that the result is held against; None where the maker's sheet or a table has none."""
    if not formula.band:
        assert case.limits is not None
        return written_band(case.limits)
    given = fact_of(case.sheets, str(formula.band))
    if not isinstance(given, MakerBand):
        return None
    return Band(given.low, given.high, case.sheets.appliance.source(given.page))


def judged(formula: Formula, families: Mapping[str, Family], case: Case) -> Judgement:
    """Return how the result of a formula stands to the maker's band, or to the limits of the gate."""
    band = _band(formula, case)
    if band is None:
        return no_limit(case, formula.name)
    lacking = [
        item.quantity for item in formula.inputs if item.quantity and not case.value(READINGS, item.quantity)
    ]
    if lacking:
        return missing(case, lacking[0])
    try:
        given = {item.name: _given(item, case) for item in formula.inputs}
        chosen = {one.name: _table(case.sheets, one, families) for one in formula.choices}
        result = work_out(formula, given, chosen)
    except NoResult as reason:
        what = case.subject(formula.name)
        return Judgement(MISSING, case.words.say("missing", what=what), f"{formula.name}: {reason}")
    verdict = judge(result.value, band, float(result.uncertainty), GUARDED)
    told = from_verdict(case, case.subject(formula.name), verdict, (band.source,), result.value)
    inputs = {key: text for key, text in result.numbers().items() if key not in told.numbers}
    told.numbers.update({**inputs, "unit": formula.unit, "formula source": formula.source})
    return told


def _given(item: FormulaInput, case: Case) -> Given:
    """Return the number of an input with its standard uncertainty; NoResult when the sheets lack one."""
    if item.quantity is None:
        return Given(_number(case.sheets, str(item.fact)), item.unit)
    value = case.value(READINGS, item.quantity)
    assert value is not None
    unit, parts = value.reading.unit, [value.instrument, value.own]
    if item.accuracy is not None:  # limits of error, in the unit of the quantity
        error = difference(_number(case.sheets, item.accuracy), item.unit, unit)
        parts.append(rectangular(float(error)))
    return Given(value.number, unit, Decimal(repr(combined(*parts))))


def _table(sheets: Sheets, choice: TableChoice, families: Mapping[str, Family]) -> Table:
    """Return the table that the sheets choose; NoResult when the family holds none of that name."""
    name = fact_of(sheets, choice.fact)
    table = families[choice.family].tables.get(str(name))
    if table is None:
        raise NoResult(f"there is no table of {choice.family} for {name}")
    return table


def _number(sheets: Sheets, path: str) -> Decimal:
    """Return a number of the sheets by its path; NoResult when they do not give it: unknown is never zero."""
    found = fact_of(sheets, path)
    if not isinstance(found, Decimal):
        raise NoResult(f"the sheets give no number as {path}")
    return found
