"""Formulas of a trade as calculations that a verdict may name: worked out, then held against the maker's band.

A trade of data alone judges by these. The standard uncertainty of a result comes from the instruments' limits of
error on the job sheet, from resolution and settling, and from the tables; near an edge JCGM 106 decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import partial
from pathlib import Path

from handsfree.documents import read_document, validate
from handsfree.formulas.arithmetic import NoResult
from handsfree.formulas.files import read_formulas, read_tables
from handsfree.formulas.formula import Formula, Given, Input, work_out
from handsfree.formulas.tables import Family
from handsfree.measurement.verdict import Band, judge
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
)
from handsfree.trades.files import QuantitiesFile
from handsfree.trades.sheets import MakerBand, Sheets

READINGS = "readings"
"""The one input of such a calculation: where its readings were kept."""

LIMITS_OF_ERROR = Decimal(3).sqrt()
"""Limits of error ±a leave a standard uncertainty of a/√3: JCGM 100:2008, 4.3.7."""


def calculations_of(folder: Path) -> dict[str, Calculation]:
    """Return the calculations that a trade's folder declares, by name; Problem with file:line at a fault.

    Only formulas that name a band are calculations of their own; the others are steps of these.
    """
    if not (folder / "calculations.yaml").is_file():
        return {}
    quantities = validate(QuantitiesFile, read_document(folder / "quantities.yaml")).root
    tables = folder / "saturation.yaml"
    families = read_tables(read_document(tables)) if tables.is_file() else {}
    units = {name: facts.unit for name, facts in quantities.items()}
    formulas = read_formulas(read_document(folder / "calculations.yaml"), units, families)
    return {name: _calculation(formula, families) for name, formula in formulas.items() if formula.band}


def _calculation(formula: Formula, families: Mapping[str, Family]) -> Calculation:
    read = tuple(item.quantity for item in formula.inputs if item.quantity is not None)
    return Calculation(
        says=formula.says,
        inputs={READINGS: read},
        outcomes=(WITHIN, OUTSIDE, TOO_CLOSE, NO_LIMIT, MISSING),
        judge=partial(judged, formula, families),
        unit=formula.unit,
        uncertainty="instruments' limits of error, resolution, settling and tables: JCGM 100, 5.1.2; JCGM 106",
        source=formula.source,
    )


def judged(formula: Formula, families: Mapping[str, Family], case: Case) -> Judgement:
    """Return how the result of a formula stands to the maker's band."""
    band = _fact(case.sheets, str(formula.band))
    if not isinstance(band, MakerBand):
        return no_limit(case, formula.name)
    given: dict[str, Given] = {}
    for item in formula.inputs:
        number = _given(item, case)
        if number is None:
            return missing(case, item.quantity) if item.quantity else no_limit(case, str(item.fact))
        given[item.name] = number
    chosen = {one.name: families[one.family].tables[str(_fact(case.sheets, one.fact))] for one in formula.choices}
    try:
        result = work_out(formula, given, chosen)
    except NoResult as reason:
        what = case.subject(formula.name)
        return Judgement(MISSING, case.words.say("missing", what=what), f"{formula.name}: {reason}")
    source = case.sheets.appliance.source(band.page)
    verdict = judge(result.value, Band(band.low, band.high, source), float(result.uncertainty))
    told = from_verdict(case, case.subject(formula.name), verdict, (source,), result.value)
    numbers = result.numbers()
    told.numbers.update({**numbers, "source": source, "formula source": formula.source})
    return told


def _given(item: Input, case: Case) -> Given | None:
    """Return the number of an input with its standard uncertainty; None where there is none."""
    if item.quantity is None:
        fact = _fact(case.sheets, str(item.fact))
        return Given(fact, item.unit) if isinstance(fact, Decimal) else None
    value = case.value(READINGS, item.quantity)
    if value is None:
        return None
    error = _fact(case.sheets, item.accuracy) if item.accuracy else None
    instrument = error / LIMITS_OF_ERROR if isinstance(error, Decimal) else Decimal(0)
    own = Decimal(repr(value.own))
    return Given(value.number, value.reading.unit, (instrument * instrument + own * own).sqrt())


def _fact(sheets: Sheets, path: str) -> object:
    """Return a fact of the sheets by its path, such as `job.gauge_accuracy`; None where there is none."""
    found: object = sheets
    for name in path.split("."):
        found = getattr(found, name, None)
    return found
