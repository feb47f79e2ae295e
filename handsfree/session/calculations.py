"""The registered calculations behind verdict gates: readings and sheets in, an outcome with its numbers out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal

from handsfree.events.state import Settled, State
from handsfree.gates.visit import Judgement, Judging
from handsfree.lexicon.catalogue import sentence_case
from handsfree.measurement import verdict as verdicts
from handsfree.measurement.distributions import rounded
from handsfree.measurement.uncertainty import combined, expanded, of_resolution
from handsfree.measurement.verdict import GUARDED, Band, Measured, Verdict, judge_difference
from handsfree.procedure.calculations import (
    CARBON_MONOXIDE_HIGH,
    FIND_SOURCE,
    MISSING,
    NO_LIMIT,
    OUTSIDE,
    TOO_CLOSE,
    WITHIN,
)
from handsfree.session.plan import Plan
from handsfree.session.situation import numeric
from handsfree.session.stops import fuel_of
from handsfree.trades.combustion.altitude import standard_pressure
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

CUBIC_FOOT = Decimal("0.028316846592")
BTU_PER_CUBIC_FOOT = Decimal("0.0372589458")
"""MJ/m3 in one Btu/ft3: 1.05505585262e-3 MJ over one cubic foot."""

METER_PERCENT = 1.5
HEATING_VALUE_PERCENT = 1.0
REACTION_SECONDS = 0.3
"""Standard uncertainties of a meter, a declared heating value and a called mark: common practice, no source."""

INPUT_PERCENT = Decimal(5)
"""How far a timed input may lie from the rated one: common practice, no source."""

AGREE = Decimal("0.2")
"""Two passes at one rate agree within this many points of CO2: common practice, no source."""


Calculation = Callable[[Plan, State, Judging], Judgement]


def judge(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Carry out the calculation a verdict gate names."""
    return REGISTERED[gate.calculation](plan, state, gate)


def _subject(plan: Plan, key: str) -> str:
    """Return what a verdict speaks of, as a sentence begins."""
    return sentence_case(plan.catalogue.subjects[key])


def _missing(plan: Plan, subject: str) -> Judgement:
    """Return the judgement when a subject, or a quantity, was not read."""
    what = plan.catalogue.subjects.get(subject) or plan.name(subject)
    return Judgement(MISSING, plan.catalogue.say("missing", what=what), f"{what}: no reading to judge")


def _no_limit(plan: Plan, what: str) -> Judgement:
    return Judgement(NO_LIMIT, plan.catalogue.say("no-limit"), f"no limit loaded for {what}: see the manual")


def _value(state: State, kept_at: str, quantity: str) -> Settled | None:
    """Return a settled value, else the last accepted one of the place."""
    settled = state.settled.get(kept_at, {}).get(quantity)
    if settled is not None:
        return settled
    sets = state.readings(kept_at)
    if not sets or quantity not in numeric(sets[-1].values):
        return None
    return Settled(sets[-1].values[quantity], Decimal(0))


def _measured(plan: Plan, value: Settled) -> Measured:
    instrument = combustion(plan.sheets).job.instrument
    accuracy = {"co2": instrument.co2_uncertainty, "o2": instrument.o2_uncertainty}.get(value.reading.quantity)
    number = Decimal(value.reading.value)
    if accuracy is None:
        accuracy = max(instrument.co_uncertainty, abs(number) * Decimal("0.05"))
    own = combined(of_resolution(float(value.reading.resolution)), float(value.uncertainty))
    return Measured(number, expanded(float(accuracy)), own)


def _from_verdict(plan: Plan, what: str, verdict: Verdict, sources: tuple[str, ...], value: Decimal) -> Judgement:
    if verdict.passes:
        saying = "within" if verdict.demonstrated else "within-marked"
        outcome = WITHIN
    elif verdict.outcome == "outside" or not _in_words_close(verdict):
        saying, outcome = "outside", OUTSIDE
    else:
        saying, outcome = "too-close", TOO_CLOSE
    return Judgement(
        outcome,
        plan.catalogue.say(saying, what=what, value=plan.numbers.digits(value)),
        f"{what} {value}: {verdict.sentence()}",
        verdict.rule,
        verdict.demonstrated,
        dict(verdict.numbers),
        sources,
    )


def _in_words_close(verdict: Verdict) -> bool:
    return verdict.outcome == "too close to call"


def instrument_in_date(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge whether the calibration covers the day of the visit."""
    del gate
    until, day = plan.sheets.job.calibrated_until, date.fromisoformat(state.day)
    if until is None:
        return Judgement(
            OUTSIDE, plan.catalogue.say("missing", what=_subject(plan, "calibration")), "no instrument named"
        )
    numbers = {"calibrated until": until.isoformat(), "day": day.isoformat()}
    outcome = WITHIN if day <= until else OUTSIDE
    saying = "within" if outcome == WITHIN else "outside"
    spoken = plan.catalogue.say(saying, what=_subject(plan, "calibration"), value=until.isoformat())
    return Judgement(
        outcome, spoken, f"calibration until {until}, visit on {day}", "date", True, numbers, ("job sheet",)
    )


def ambient_clear(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge CO in the room: from 10 ppm the source is found first; above 35 ppm the visit has stopped already."""
    value = _value(state, gate.using["readings"], "ambient_co")
    if value is None:
        return _missing(plan, "ambient-co")
    number = Decimal(value.reading.value)
    source = "testing guideline: 10 to 35 ppm, find the source before going on"
    outcome = FIND_SOURCE if number >= 10 else WITHIN
    saying = "outside" if outcome == FIND_SOURCE else "within"
    spoken = plan.catalogue.say(saying, what=_subject(plan, "ambient-co"), value=plan.numbers.digits(number))
    numbers = {"value": f"{number}", "limit": "10"}
    return Judgement(outcome, spoken, f"ambient CO {number} ppm", "simple", True, numbers, (source,))


def combustion_at_rate(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge CO2 in the maker's band, only with O2 and CO from the same sets; CO first, guarded."""
    kept_at = gate.using["readings"]
    values = {quantity: _value(state, kept_at, quantity) for quantity in ("co2", "o2", "co")}
    co2, co = values["co2"], values["co"]
    if co2 is None or co is None or values["o2"] is None:
        return _missing(plan, "combustion")
    doubt = state.doubted(kept_at)
    if doubt:
        return Judgement(MISSING, plan.catalogue.say("missing", what=plan.catalogue.subjects["pair"]), doubt)
    band = combustion(plan.sheets).fuel.co2.get(gate.rate or "maximum")
    if band is None:
        return _no_limit(plan, f"CO2 at {gate.rate} rate")
    carbon_monoxide = _carbon_monoxide(plan, state, kept_at)
    if carbon_monoxide is not None and not carbon_monoxide.passes:
        spoken = plan.catalogue.say(
            "outside", what=_subject(plan, "co"), value=plan.numbers.digits(Decimal(co.reading.value))
        )
        return Judgement(
            CARBON_MONOXIDE_HIGH,
            spoken,
            f"CO {co.reading.value} ppm: {carbon_monoxide.sentence()}",
            carbon_monoxide.rule,
            False,
            dict(carbon_monoxide.numbers),
            (carbon_monoxide.numbers.get("source", ""),),
        )
    source = plan.sheets.appliance.source(band.page)
    measured = _measured(plan, co2)
    verdict = verdicts.judge(measured.value, Band(band.low, band.high, source), measured.standard_uncertainty)
    judgement = _from_verdict(plan, _subject(plan, "co2"), verdict, (source,), measured.value)
    judgement.numbers["co"] = co.reading.value
    return judgement


def _carbon_monoxide(plan: Plan, state: State, kept_at: str) -> Verdict | None:
    """Judge CO against the maker's limit on its own basis; None when no limit is loaded."""
    limit = combustion(plan.sheets).fuel.co
    co, o2, co2 = (_value(state, kept_at, quantity) for quantity in ("co", "o2", "co2"))
    if limit is None or co is None or o2 is None or co2 is None:
        return None
    band = Band(None, limit.high, f"{plan.sheets.appliance.source(limit.page)}, {limit.basis}")
    measured = _measured(plan, co)
    factor = _to_basis(limit.basis, float(o2.reading.value), float(co2.reading.value))
    value = rounded(
        float(measured.value) * factor, Decimal("0.00001") if limit.basis == "ratio" else Decimal("0.1")
    )
    return verdicts.judge(value, band, measured.standard_uncertainty * factor, GUARDED)


def _to_basis(basis: str, oxygen: float, carbon_dioxide: float) -> float:
    """Return the factor from ppm as measured to the limit's basis; the air-free factor is 20.9/(20.9 - O2)."""
    if basis == "air-free":
        return 20.9 / max(20.9 - oxygen, 0.1)
    if basis == "ratio":
        return 1e-4 / max(carbon_dioxide, 0.1)
    return 1.0


def rates_compared(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge maximum minus minimum against the maker's rule; errors of one instrument mostly cancel."""
    high = _value(state, gate.using["maximum"], "co2")
    low = _value(state, gate.using["minimum"], "co2")
    if high is None or low is None:
        return _missing(plan, "co2-at-a-rate")
    rule = combustion(plan.sheets).fuel.between_rates
    if rule is None:
        return _no_limit(plan, "the rule between the rates")
    source = plan.sheets.appliance.source(rule.page)
    first, second = _measured(plan, high), _measured(plan, low)
    verdict = judge_difference(first, second, Band(rule.low, rule.high, source))
    return _from_verdict(plan, _subject(plan, "difference"), verdict, (source,), first.value - second.value)


def passes_agree(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge whether two passes at one rate gave the same CO2."""
    first = _value(state, gate.using["first"], "co2")
    second = _value(state, gate.using["second"], "co2")
    if first is None or second is None:
        return _missing(plan, "co2-of-a-pass")
    difference = Decimal(second.reading.value) - Decimal(first.reading.value)
    outcome = WITHIN if abs(difference) <= AGREE else OUTSIDE
    numbers = {"first": first.reading.value, "second": second.reading.value, "limit": f"{AGREE}"}
    spoken = plan.catalogue.say(outcome, what=_subject(plan, "passes"), value=plan.numbers.digits(difference))
    sentence = f"CO2 {first.reading.value}, then {second.reading.value}"
    return Judgement(outcome, spoken, sentence, "simple", True, numbers, ("common practice, no source",))


def supply_pressure(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge standing and working pressure against the plate, edges included."""
    numbers: dict[str, str] = {}
    sources: list[str] = []
    outside = []
    for name, quantity in (("standing", "standing_pressure"), ("working", "working_pressure")):
        value = _value(state, gate.using[name], quantity)
        if value is None:
            return _missing(plan, f"{name}-pressure")
        band = getattr(combustion(plan.sheets).fuel, quantity)
        if band is None:
            return _no_limit(plan, f"{name} pressure")
        plate = Band(band.low, band.high, plan.sheets.appliance.source(band.page))
        numbers |= {name: value.reading.value, f"{name} band": str(plate)}
        sources.append(plate.source)
        if not plate.holds(Decimal(value.reading.value)):
            outside.append((name, value))
    if outside:
        name, value = outside[0]
        spoken = plan.catalogue.say(
            "outside", what=plan.name(f"{name}_pressure"), value=plan.numbers.digits(Decimal(value.reading.value))
        )
        sentence = f"{name} pressure {value.reading.value} mbar outside the plate"
        return Judgement(OUTSIDE, spoken, sentence, "simple", True, numbers, tuple(sources))
    spoken = plan.catalogue.say("within", what=_subject(plan, "gas-pressure"))
    return Judgement(WITHIN, spoken, "gas pressure inside the plate", "simple", True, numbers, tuple(sources))


def gas_input(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge the timed heat input against the rated one, both on the sheet's basis."""
    kept_at, meter = gate.using["timing"], combustion(plan.sheets).job.meter
    volume = _value(state, kept_at, "gas_volume_metric") or _value(state, kept_at, "gas_volume_imperial")
    time = _value(state, kept_at, "meter_time")
    if volume is None or time is None:
        return _missing(plan, "meter-timing")
    rated = combustion(plan.sheets).fuel.input_kilowatt.get(gate.rate or "maximum")
    if meter is None or rated is None:
        return _no_limit(plan, "rated input")
    imperial = volume.reading.quantity == "gas_volume_imperial"
    cubic_metres = Decimal(volume.reading.value) * (CUBIC_FOOT if imperial else 1)
    heating_value = meter.heating_value * (BTU_PER_CUBIC_FOOT if meter.unit == "[cft_i]" else 1)
    rate = gas_rate(float(cubic_metres), float(time.reading.value))
    factor = correction_factor(2.0, standard_pressure(float(plan.sheets.job.altitude_metre)), 15.0)
    measured = heat_input(rate, float(heating_value), meter.basis, factor)
    basis = combustion(plan.sheets).appliance.basis
    same = on_basis(measured, basis, gas_properties(fuel_of(plan.sheets)).gross_to_net)
    over = rounded(over_rated_percent(same, Heat(float(rated), basis)), Decimal("0.1"))
    share = input_uncertainty_percent(
        float(time.reading.value), REACTION_SECONDS, METER_PERCENT, HEATING_VALUE_PERCENT
    )
    source = "common practice, no source: within 5 % of the rated input"
    verdict = verdicts.judge(over, Band(-INPUT_PERCENT, INPUT_PERCENT, source), share)
    judgement = _from_verdict(plan, _subject(plan, "input"), verdict, (source, meter.source), over)
    judgement.numbers.update({"kilowatt": f"{same.kilowatts:.2f}", "rated kilowatt": f"{rated}", "basis": basis})
    return judgement


def reading_in_limits(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge a reading against the limits in the gate, edges included; with an accuracy, by the guarded rule."""
    limits = gate.limits
    assert limits is not None
    name = plan.name(limits.quantity)
    value = _value(state, gate.using["readings"], limits.quantity)
    if value is None:
        return _missing(plan, limits.quantity)
    number = Decimal(value.reading.value)
    band = Band(limits.low, limits.high, limits.source)
    what = sentence_case(name)
    if limits.accuracy is None:
        outcome = WITHIN if band.holds(number) else OUTSIDE
        spoken = plan.catalogue.say(outcome, what=what, value=plan.numbers.digits(number))
        numbers = {"value": value.reading.value, "band": str(band), "unit": value.reading.unit}
        sentence = f"{name} {value.reading.value} {value.reading.unit} {outcome} {band}"
        return Judgement(outcome, spoken, sentence, "simple", True, numbers, (limits.source,))
    own = combined(of_resolution(float(value.reading.resolution)), float(value.uncertainty))
    measured = Measured(number, expanded(float(limits.accuracy)), own)
    verdict = verdicts.judge(number, band, measured.standard_uncertainty)
    return _from_verdict(plan, what, verdict, (limits.source,), number)


def air_duct_clear(plan: Plan, state: State, gate: Judging) -> Judgement:
    """Judge the air duct: O2 at least 20.6 %, CO2 at most 0.2 % (UK commissioning flow-chart)."""
    source = "UK commissioning flow-chart as reproduced by a maker"
    o2 = _value(state, gate.using["readings"], "air_duct_o2")
    co2 = _value(state, gate.using["readings"], "air_duct_co2")
    if o2 is None or co2 is None:
        return _missing(plan, "air-duct")
    clear = Decimal(o2.reading.value) >= Decimal("20.6") and Decimal(co2.reading.value) <= Decimal("0.2")
    outcome = WITHIN if clear else OUTSIDE
    numbers = {"o2": o2.reading.value, "co2": co2.reading.value}
    spoken = plan.catalogue.say(
        outcome, what=_subject(plan, "air-duct"), value=plan.numbers.digits(Decimal(o2.reading.value))
    )
    sentence = f"air duct O2 {o2.reading.value} %, CO2 {co2.reading.value} %"
    return Judgement(outcome, spoken, sentence, "simple", True, numbers, (source,))


REGISTERED: Mapping[str, Calculation] = {
    "instrument-in-date": instrument_in_date,
    "ambient-clear": ambient_clear,
    "combustion-at-rate": combustion_at_rate,
    "rates-compared": rates_compared,
    "passes-agree": passes_agree,
    "supply-pressure": supply_pressure,
    "gas-input": gas_input,
    "air-duct-clear": air_duct_clear,
    "reading-in-limits": reading_in_limits,
}
