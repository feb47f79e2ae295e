"""Calculations that any trade may use: an instrument in date, a reading within limits, two readings that agree."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from handsfree.lexicon.catalogue import sentence_case
from handsfree.measurement.uncertainty import expanded
from handsfree.measurement.verdict import Measured, judge
from handsfree.trades.calculation import (
    MISSING,
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

UNSOURCED = "common practice, no source"


def _instrument_in_date(case: Case) -> Judgement:
    """Judge whether the calibration covers the day of the visit; no instrument named is no calibration."""
    until, day = case.sheets.job.calibrated_until, case.day
    shown = "none" if until is None else until.isoformat()
    outcome = WITHIN if until is not None and day <= until else OUTSIDE
    return Judgement(
        outcome,
        case.words.say(outcome, what=case.subject("calibration"), value=shown),
        f"calibration until {shown}, visit on {day}",
        "date",
        True,
        {"calibrated until": shown, "day": day.isoformat()},
        ("job sheet",),
    )


def _reading_in_limits(case: Case) -> Judgement:
    """Judge a reading against the limits in the gate, edges included; with an accuracy, by its probability."""
    limits = case.limits
    assert limits is not None
    assert limits.quantity is not None
    name = case.words.name(limits.quantity)
    band = written_band(limits)
    if band is None:
        return no_limit(case, name)
    value = case.value("readings", limits.quantity)
    if value is None:
        return missing(case, limits.quantity)
    what = sentence_case(name)
    if limits.accuracy is not None:
        measured = Measured(value.number, expanded(float(limits.accuracy)), value.own)
        verdict = judge(value.number, band, measured.standard_uncertainty)
        return from_verdict(case, what, verdict, (limits.source,), value.number)
    outcome = WITHIN if band.holds(value.number) else OUTSIDE
    unit = value.reading.unit
    return Judgement(
        outcome,
        case.words.say(outcome, what=what, value=case.words.value(value)),
        f"{name} {value.written} {unit} {outcome} {band}",
        "simple",
        True,
        {"value": value.written, "band": str(band), "unit": unit},
        (limits.source,),
    )


def readings_agree(
    quantity: str, within: Decimal, unit: str, *, name: str, subject: str, lacking: str
) -> Calculation:
    """Return a calculation of whether two readings of a quantity lie no further apart than `within`, in its unit.

    `name` is what the record calls the quantity; `subject` and `lacking` are subjects of the language: what
    agrees, and what was not read.
    """

    def judged(case: Case) -> Judgement:
        first, second = case.value("first", quantity), case.value("second", quantity)
        if first is None or second is None:
            return missing(case, lacking)
        difference = second.number - first.number
        outcome = WITHIN if abs(difference) <= within else OUTSIDE
        return Judgement(
            outcome,
            case.words.say(outcome, what=case.subject(subject), value=case.words.digits(difference)),
            f"{name} {first.written}, then {second.written}",
            "simple",
            True,
            {"first": first.written, "second": second.written, "limit": f"{within}"},
            (UNSOURCED,),
        )

    return Calculation(
        says=f"Whether two passes at one rate, one after the other, give the same {name} within {within}.",
        inputs={"first": (quantity,), "second": (quantity,)},
        outcomes=(WITHIN, OUTSIDE, MISSING),
        judge=judged,
        unit=unit,
        uncertainty="none: by simple acceptance",
        source=UNSOURCED,
    )


GENERAL: Mapping[str, Calculation] = {
    "instrument-in-date": Calculation(
        says="Whether the instrument's calibration covers the day of the visit.",
        inputs={},
        outcomes=(WITHIN, OUTSIDE),
        judge=_instrument_in_date,
        unit=None,
        uncertainty="none: a date",
        source="job sheet",
        forbids_turns=True,
    ),
    "reading-in-limits": Calculation(
        says="Whether a reading keeps the limits written in the gate; its own accuracy counts when it is given.",
        inputs={"readings": ()},
        outcomes=(WITHIN, OUTSIDE, TOO_CLOSE, MISSING),
        judge=_reading_in_limits,
        unit=None,
        uncertainty="the accuracy written in the gate, resolution and settling: JCGM 106:2012, 8.2; else none",
        source="written in the gate",
        limits=True,
        exact_without_accuracy=True,
    ),
}
"""The calculations that every trade has, by name."""
