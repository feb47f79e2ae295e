"""The calculations of combustion: flue gas in the maker's band, the rates compared, the room, the air duct."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from handsfree.measurement.distributions import rounded
from handsfree.measurement.reading import Reading
from handsfree.measurement.uncertainty import expanded
from handsfree.measurement.verdict import GUARDED, Band, Verdict, judge, judge_difference
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
from handsfree.trades.combustion.sheets import Rate, combustion
from handsfree.trades.general import readings_agree
from handsfree.trades.sheets import Sheets

CARBON_MONOXIDE_HIGH = "carbon-monoxide-high"
FIND_SOURCE = "find-source"

_CO_SHARE = Decimal("0.05")
"""Of a CO reading: its expanded uncertainty, when that is more than the least (EN 50379-2, from memory)."""

_SEARCH = Decimal(10)
"""ppm of CO in the room from which its source is found first."""
_SEARCH_SOURCE = "testing guideline: 10 to 35 ppm, find the source before going on"

_DUCT_O2, _DUCT_CO2 = Decimal("20.6"), Decimal("0.2")
_DUCT_SOURCE = "UK commissioning flow-chart as reproduced by a maker"


def rate_of(case: Case) -> Rate:
    """Return the rate that a gate judges; the higher one when it names none."""
    return "minimum" if case.rate == "minimum" else "maximum"


def instrument_uncertainty(sheets: Sheets, reading: Reading) -> float:
    """Return the standard uncertainty of the analyser at a reading of the flue gas; 0 for any other quantity."""
    instrument = combustion(sheets).job.instrument
    match reading.quantity:
        case "co2":
            return expanded(float(instrument.co2_uncertainty))
        case "o2":
            return expanded(float(instrument.o2_uncertainty))
        case "co":
            return expanded(float(max(instrument.co_uncertainty, abs(reading.value) * _CO_SHARE)))
        case _:
            return 0.0


def _ambient_clear(case: Case) -> Judgement:
    """Judge CO in the room: from 10 ppm the source is found first; above 35 ppm the visit has stopped already."""
    value = case.value("readings", "ambient_co")
    if value is None:
        return missing(case, "ambient-co")
    outcome = FIND_SOURCE if value.number >= _SEARCH else WITHIN
    saying = "outside" if outcome == FIND_SOURCE else "within"
    return Judgement(
        outcome,
        case.words.say(saying, what=case.subject("ambient-co"), value=case.words.value(value)),
        f"ambient CO {value.number} ppm",
        "simple",
        True,
        {"value": f"{value.number}", "limit": f"{_SEARCH}"},
        (_SEARCH_SOURCE,),
    )


def _combustion_at_rate(case: Case) -> Judgement:
    """Judge CO2 in the maker's band, only with O2 and CO from the same sets; CO first, guarded."""
    co2, o2, co = (case.value("readings", quantity) for quantity in ("co2", "o2", "co"))
    if co2 is None or co is None or o2 is None:
        return missing(case, "combustion")
    doubt = case.doubted.get("readings", "")
    if doubt:
        return Judgement(MISSING, case.words.say("missing", what=case.words.subject("pair")), doubt)
    sheets = combustion(case.sheets)
    band = sheets.fuel.co2.get(rate_of(case))
    if band is None:
        return no_limit(case, f"CO2 at {case.rate} rate")
    carbon_monoxide = _carbon_monoxide(case)
    if carbon_monoxide is not None and not carbon_monoxide.passes:
        return Judgement(
            CARBON_MONOXIDE_HIGH,
            case.words.say("outside", what=case.subject("co"), value=case.words.value(co)),
            f"CO {co.written} ppm: {carbon_monoxide.sentence()}",
            carbon_monoxide.rule,
            False,
            dict(carbon_monoxide.numbers),
            (carbon_monoxide.numbers.get("source", ""),),
        )
    source = sheets.appliance.source(band.page)
    verdict = judge(co2.number, Band(band.low, band.high, source), co2.measured.standard_uncertainty)
    judgement = from_verdict(case, case.subject("co2"), verdict, (source,), co2.number)
    judgement.numbers["co"] = co.written
    return judgement


def _carbon_monoxide(case: Case) -> Verdict | None:
    """Judge CO against the maker's limit on its own basis; None when no limit is loaded."""
    sheets = combustion(case.sheets)
    limit = sheets.fuel.co
    co, o2, co2 = (case.value("readings", quantity) for quantity in ("co", "o2", "co2"))
    if limit is None or co is None or o2 is None or co2 is None:
        return None
    band = Band(None, limit.high, f"{sheets.appliance.source(limit.page)}, {limit.basis}")
    factor = _to_basis(limit.basis, float(o2.number), float(co2.number))
    step = Decimal("0.00001") if limit.basis == "ratio" else Decimal("0.1")
    value = rounded(float(co.number) * factor, step)
    return judge(value, band, co.measured.standard_uncertainty * factor, GUARDED)


def _to_basis(basis: str, oxygen: float, carbon_dioxide: float) -> float:
    """Return the factor from ppm as measured to the limit's basis; the air-free factor is 20.9/(20.9 - O2)."""
    if basis == "air-free":
        return 20.9 / max(20.9 - oxygen, 0.1)
    if basis == "ratio":
        return 1e-4 / max(carbon_dioxide, 0.1)
    return 1.0


def _rates_compared(case: Case) -> Judgement:
    """Judge maximum minus minimum against the maker's rule; errors of one instrument mostly cancel."""
    high, low = case.value("maximum", "co2"), case.value("minimum", "co2")
    if high is None or low is None:
        return missing(case, "co2-at-a-rate")
    sheets = combustion(case.sheets)
    rule = sheets.fuel.between_rates
    if rule is None:
        return no_limit(case, "the rule between the rates")
    source = sheets.appliance.source(rule.page)
    verdict = judge_difference(high.measured, low.measured, Band(rule.low, rule.high, source))
    return from_verdict(case, case.subject("difference"), verdict, (source,), high.number - low.number)


def _air_duct_clear(case: Case) -> Judgement:
    """Judge the air duct: O2 at least 20.6 %, CO2 at most 0.2 %."""
    o2, co2 = case.value("readings", "air_duct_o2"), case.value("readings", "air_duct_co2")
    if o2 is None or co2 is None:
        return missing(case, "air-duct")
    outcome = WITHIN if o2.number >= _DUCT_O2 and co2.number <= _DUCT_CO2 else OUTSIDE
    return Judgement(
        outcome,
        case.words.say(outcome, what=case.subject("air-duct"), value=case.words.value(o2)),
        f"air duct O2 {o2.written} %, CO2 {co2.written} %",
        "simple",
        True,
        {"o2": o2.written, "co2": co2.written},
        (_DUCT_SOURCE,),
    )


def _bands_at_rate(sheets: Sheets, rate: str | None) -> Mapping[str, Band]:
    """Return the maker's band of CO2, and his limit of CO where it is one of CO as measured."""
    fuel, found = combustion(sheets).fuel, {}
    band = fuel.co2.get(rate) if rate is not None else None  # type: ignore[call-overload]
    if band is not None:
        found["co2"] = Band(band.low, band.high, sheets.appliance.source(band.page))
    if fuel.co is not None and fuel.co.basis == "as measured":
        found["co"] = Band(None, fuel.co.high, sheets.appliance.source(fuel.co.page))
    return found


def _bands_of_duct(_sheets: Sheets, _rate: str | None) -> Mapping[str, Band]:
    return {"air_duct_o2": Band(_DUCT_O2, None, _DUCT_SOURCE), "air_duct_co2": Band(None, _DUCT_CO2, _DUCT_SOURCE)}


_SIMPLE = "none: by simple acceptance"
_TURNABLE = frozenset({OUTSIDE, TOO_CLOSE})

AMBIENT_CLEAR = Calculation(
    says="Whether carbon monoxide in the room allows work to go on.",
    inputs={"readings": ("ambient_co",)},
    outcomes=(WITHIN, FIND_SOURCE, MISSING),
    judge=_ambient_clear,
    unit="[ppm]",
    uncertainty=_SIMPLE,
    source=_SEARCH_SOURCE,
    bad=frozenset({FIND_SOURCE}),
    forbids_turns=True,
)
COMBUSTION_AT_RATE = Calculation(
    says="Whether CO2 is in the maker's band with O2 and CO taken in the same sets.",
    inputs={"readings": ("co2", "o2", "co")},
    outcomes=(WITHIN, OUTSIDE, TOO_CLOSE, CARBON_MONOXIDE_HIGH, NO_LIMIT, MISSING),
    judge=_combustion_at_rate,
    unit="%",
    uncertainty="accuracy of the analyser, resolution, settling: CO2 by JCGM 106:2012, 8.2, CO guarded (8.3.2)",
    source="the maker's manual",
    rate=True,
    bands=_bands_at_rate,
    bad=_TURNABLE | {CARBON_MONOXIDE_HIGH},
    turns=_TURNABLE | {CARBON_MONOXIDE_HIGH},
    may_be_left=True,
)
RATES_COMPARED = Calculation(
    says="Whether the two rates keep the maker's rule between them.",
    inputs={"maximum": ("co2",), "minimum": ("co2",)},
    outcomes=(WITHIN, OUTSIDE, TOO_CLOSE, NO_LIMIT, MISSING),
    judge=_rates_compared,
    unit="%",
    uncertainty="accuracy of one analyser at both rates, correlated; resolution and settling: JCGM 106:2012, 8.2",
    source="the maker's manual",
    bad=_TURNABLE,
    turns=_TURNABLE,
    may_be_left=True,
)
PASSES_AGREE = readings_agree("co2", Decimal("0.2"), "%", name="CO2", subject="passes", lacking="co2-of-a-pass")
AIR_DUCT_CLEAR = Calculation(
    says="Whether the air duct is free of products: O2 at least 20.6 %, CO2 at most 0.2 %.",
    inputs={"readings": ("air_duct_o2", "air_duct_co2")},
    outcomes=(WITHIN, OUTSIDE, MISSING),
    judge=_air_duct_clear,
    bands=_bands_of_duct,
    unit="%",
    uncertainty=_SIMPLE,
    source=_DUCT_SOURCE,
    forbids_turns=True,
)
