"""The calculations of the gas supply: standing and working pressure, and the heat input timed at the meter."""

from __future__ import annotations

from decimal import Decimal

from handsfree.measurement.distributions import rounded
from handsfree.measurement.verdict import Band, judge
from handsfree.trades.calculation import (
    MISSING,
    NO_LIMIT,
    OUTSIDE,
    TOO_CLOSE,
    WITHIN,
    Calculation,
    Case,
    JudgedValue,
    Judgement,
    from_verdict,
    missing,
    no_limit,
)
from handsfree.trades.combustion.altitude import standard_pressure
from handsfree.trades.combustion.calculations import rate_of
from handsfree.trades.combustion.gas_rate import HeatInput as Heat
from handsfree.trades.combustion.gas_rate import (
    correction_factor,
    gas_rate,
    heat_input,
    input_uncertainty_percent,
    on_basis,
    over_rated_percent,
)
from handsfree.trades.combustion.heating_value import gas_properties
from handsfree.trades.combustion.sheets import combustion
from handsfree.trades.combustion.stops import fuel_of

CUBIC_FOOT = Decimal("0.028316846592")
BTU_PER_CUBIC_FOOT = Decimal("0.0372589458")
"""MJ/m3 in one Btu/ft3: 1.05505585262e-3 MJ over one cubic foot."""

METER_PERCENT = 1.5
HEATING_VALUE_PERCENT = 1.0
REACTION_SECONDS = 0.3
"""Standard uncertainties of a meter, a declared heating value and a called mark: common practice, no source."""

INPUT_PERCENT = Decimal(5)
INPUT_SOURCE = "common practice, no source: within 5 % of the rated input"


def _supply_pressure(case: Case) -> Judgement:
    """Judge standing and working pressure against the plate, edges included."""
    sheets = combustion(case.sheets)
    numbers: dict[str, str] = {}
    sources: list[str] = []
    outside: list[tuple[str, JudgedValue]] = []
    plates = {"standing": sheets.fuel.standing_pressure, "working": sheets.fuel.working_pressure}
    for name, band in plates.items():
        value = case.value(name, f"{name}_pressure")
        if value is None:
            return missing(case, f"{name}-pressure")
        if band is None:
            return no_limit(case, f"{name} pressure")
        plate = Band(band.low, band.high, sheets.appliance.source(band.page))
        numbers |= {name: value.written, f"{name} band": str(plate)}
        sources.append(plate.source)
        if not plate.holds(value.number):
            outside.append((name, value))
    if outside:
        name, value = outside[0]
        what, number = case.words.name(f"{name}_pressure"), case.words.value(value)
        spoken = case.words.say("outside", what=what, value=number)
        sentence = f"{name} pressure {value.written} mbar outside the plate"
        return Judgement(OUTSIDE, spoken, sentence, "simple", True, numbers, tuple(sources))
    spoken = case.words.say("within", what=case.subject("gas-pressure"))
    return Judgement(WITHIN, spoken, "gas pressure inside the plate", "simple", True, numbers, tuple(sources))


def _gas_input(case: Case) -> Judgement:
    """Judge the timed heat input against the rated one, both on the sheet's basis."""
    sheets = combustion(case.sheets)
    meter, basis = sheets.job.meter, sheets.appliance.basis
    metric, imperial = case.value("timing", "gas_volume_metric"), case.value("timing", "gas_volume_imperial")
    volume, time = metric or imperial, case.value("timing", "meter_time")
    if volume is None or time is None:
        return missing(case, "meter-timing")
    rated = sheets.fuel.input_kilowatt.get(rate_of(case))
    if meter is None or rated is None:
        return no_limit(case, "rated input")
    cubic_metres = volume.number * (1 if volume is metric else CUBIC_FOOT)
    heating_value = meter.heating_value * (BTU_PER_CUBIC_FOOT if meter.unit == "[cft_i]" else 1)
    rate = gas_rate(float(cubic_metres), float(time.number))
    factor = correction_factor(2.0, standard_pressure(float(sheets.job.altitude_metre)), 15.0)
    measured = heat_input(rate, float(heating_value), meter.basis, factor)
    same = on_basis(measured, basis, gas_properties(fuel_of(case.sheets)).gross_to_net)
    over = rounded(over_rated_percent(same, Heat(float(rated), basis)), Decimal("0.1"))
    share = input_uncertainty_percent(float(time.number), REACTION_SECONDS, METER_PERCENT, HEATING_VALUE_PERCENT)
    verdict = judge(over, Band(-INPUT_PERCENT, INPUT_PERCENT, INPUT_SOURCE), share)
    judgement = from_verdict(case, case.subject("input"), verdict, (INPUT_SOURCE, meter.source), over)
    judgement.numbers.update({"kilowatt": f"{same.kilowatts:.2f}", "rated kilowatt": f"{rated}", "basis": basis})
    return judgement


SUPPLY_PRESSURE = Calculation(
    says="Whether standing and working pressure are inside the maker's plate.",
    inputs={"standing": ("standing_pressure",), "working": ("working_pressure",)},
    outcomes=(WITHIN, OUTSIDE, NO_LIMIT, MISSING),
    judge=_supply_pressure,
    unit="mbar",
    uncertainty="none: by simple acceptance",
    source="the maker's manual",
    forbids_turns=True,
    before_turns=True,
)
GAS_INPUT = Calculation(
    says="Whether the timed heat input agrees with the rated input, on one basis.",
    inputs={"timing": ("gas_volume_metric", "meter_time")},
    outcomes=(WITHIN, OUTSIDE, TOO_CLOSE, NO_LIMIT, MISSING),
    judge=_gas_input,
    unit="%",
    uncertainty="meter, declared heating value and called marks, by their sum of squares: JCGM 106:2012, 8.2",
    source=INPUT_SOURCE,
    rate=True,
)
