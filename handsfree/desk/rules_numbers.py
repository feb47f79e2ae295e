"""Rules about whether the numbers hang together, from the readings alone."""

from __future__ import annotations

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence, Finding, Item, Result, failed, passed, unknown
from handsfree.desk.measured import Group
from handsfree.desk.rules_done import answered
from handsfree.problem import Problem
from handsfree.trades.combustion.flue_gas import (
    air_free_carbon_monoxide,
    air_ratio_from_carbon_dioxide,
    air_ratio_from_oxygen,
    carbon_monoxide_ratio,
    excess_air,
    implied_fuel,
    pair_residual,
    pair_residual_uncertainty,
    ultimate_carbon_dioxide,
)
from handsfree.trades.combustion.losses import flue_gas_dew_point
from handsfree.trades.combustion.stoichiometry import flue_gas

NEAR_RETURN = 30.0
"""Flue gas of a boiler that condenses lies within this many kelvin of its return: common practice, no source."""

NEAR_TURNDOWN = 10.0
"""Per cent by which a clocked turndown may differ from the plate's: common practice, no source."""


def _number(group: Group, quantity: str) -> float:
    return float(group.values[quantity].reading.value)


def _shares(evidence: Evidence) -> tuple[float, float]:
    """Return the standard uncertainties of CO2 and O2, in points."""
    assert evidence.sheets is not None
    instrument = evidence.sheets.job.instrument
    return float(instrument.co2_uncertainty) / 2, float(instrument.o2_uncertainty) / 2


def _ready(evidence: Evidence) -> str:
    """Return why the flue readings cannot be computed with, or nothing."""
    if evidence.fuel is None:
        return "the sheets kept with the visit cannot be read"
    return "" if evidence.flue else "no settled CO₂ with O₂"


def pairs(evidence: Evidence, item: Item) -> Finding:
    """Judge each settled pair: its residual within twice its standard uncertainty."""
    del item
    if why := _ready(evidence):
        return unknown(why)
    assert evidence.fuel is not None
    u_co2, u_o2 = _shares(evidence)
    worst = (0.0, 0.0, evidence.flue[0])
    for group in evidence.flue:
        oxygen = _number(group, "o2")
        residual = pair_residual(evidence.fuel, _number(group, "co2"), oxygen)
        allowed = 2 * pair_residual_uncertainty(evidence.fuel, oxygen, u_co2, u_o2)
        if abs(residual) / allowed >= worst[0]:
            worst = (abs(residual) / allowed, residual, group)
    share, residual, group = worst
    words = f"largest residual {residual:+.2f} points of CO₂ ({group.title}), {share:.0%} of what is allowed"
    return passed(words, group.settled_seq) if share <= 1 else failed(words, group.settled_seq)


def implied(evidence: Evidence, item: Item) -> Finding:
    """Judge whether the pairs imply the highest CO2 of the job's fuel, within twice the standard uncertainty."""
    del item
    if why := _ready(evidence):
        return unknown(why)
    assert evidence.fuel is not None
    group = evidence.flue[-1]
    found = implied_fuel(_number(group, "co2"), _number(group, "o2"), *_shares(evidence))
    due, spread = ultimate_carbon_dioxide(evidence.fuel), evidence.fuel.spread
    off = abs(found.ultimate - due)
    words = (
        f"{found.ultimate:.1f} % implied by the last pair, {due:.1f} % for {evidence.fuel.name}, "
        f"{2 * found.standard_uncertainty + spread:.1f} allowed"
    )
    good = off <= 2 * found.standard_uncertainty + spread
    return passed(words, group.settled_seq) if good else failed(words, group.settled_seq)


def carbon_monoxide(evidence: Evidence, item: Item) -> Finding:
    """Recompute CO on the basis of the maker's limit for what was left at each rate."""
    del item
    left = [rate.after for rate in evidence.rates if rate.after is not None and "co" in rate.after.values]
    if not left or evidence.sheets is None:
        return unknown("no settled CO with O₂")
    limit = evidence.sheets.fuel.co
    told, over = [], False
    for group in left:
        co, oxygen, co2 = (_number(group, quantity) for quantity in ("co", "o2", "co2"))
        free = air_free_carbon_monoxide(co, oxygen)
        told.append(f"{group.rate} {co:.0f} ppm as measured, {free:.0f} ppm air-free")
        if limit is not None:
            basis = {"air-free": free, "as measured": co, "ratio": carbon_monoxide_ratio(co, co2)}[limit.basis]
            over = over or basis > float(limit.high)
    words = "; ".join(told)
    if limit is None:
        return unknown(f"{words}; no limit loaded: see the manual")
    words = f"{words}; limit {limit.high} {limit.basis}"
    return failed(words, left[-1].settled_seq) if over else passed(words, left[-1].settled_seq)


def excess(evidence: Evidence, item: Item) -> Finding:
    """Compare excess air from O2 with that from CO2; they differ by no more than both readings leave uncertain."""
    del item
    if why := _ready(evidence):
        return unknown(why)
    assert evidence.fuel is not None
    group, fuel = evidence.flue[-1], evidence.fuel
    u_co2, u_o2 = _shares(evidence)
    co2, oxygen = _number(group, "co2"), _number(group, "o2")
    try:
        by_o2, by_co2 = (
            excess_air(air_ratio_from_oxygen(fuel, oxygen)),
            excess_air(air_ratio_from_carbon_dioxide(fuel, co2)),
        )
        low = excess_air(air_ratio_from_oxygen(fuel, max(oxygen - 2 * u_o2, 0)))
        high = excess_air(air_ratio_from_carbon_dioxide(fuel, co2 - 2 * u_co2))
    except Problem as problem:
        return failed(problem.sentence(), group.settled_seq)
    allowed = abs(by_o2 - low) + abs(high - by_co2)
    words = f"{by_o2:.0f} % from O₂, {by_co2:.0f} % from CO₂ ({group.title})"
    good = abs(by_o2 - by_co2) <= allowed
    return passed(words, group.settled_seq) if good else failed(words, group.settled_seq)


def fan_speed(evidence: Evidence, item: Item) -> Finding:
    """Judge whether the fan runs faster at maximum than at minimum."""
    del item
    by_rate: dict[str, tuple[float, int]] = {}
    rate = ""
    for group in evidence.groups:
        rate = group.rate or rate
        for taken in group.readings:
            if taken.event.reading.quantity == "fan_speed":
                by_rate[rate] = (float(taken.event.reading.value), taken.step.seq)
    if not {"maximum", "minimum"} <= by_rate.keys():
        return unknown("fan speed is not on record at both rates")
    high, low = by_rate["maximum"], by_rate["minimum"]
    words = f"{high[0]:.0f} at maximum, {low[0]:.0f} at minimum"
    return passed(words, low[1]) if high[0] > low[0] else failed(words, low[1])


def turndown(evidence: Evidence, item: Item) -> Finding:
    """Compare the clocked inputs at both rates with the plate's turndown."""
    del item
    inputs: dict[str, float] = {}
    for _, verdict in evidence.verdicts:
        if verdict.calculation == "gas-input" and "kilowatt" in verdict.numbers and evidence.recorded.plan:
            rate = getattr(evidence.recorded.plan.gate(verdict.gate).gate, "rate", None) or "maximum"
            inputs[rate] = float(verdict.numbers["kilowatt"])
    rated = evidence.sheets.fuel.input_kilowatt if evidence.sheets else {}
    if not {"maximum", "minimum"} <= inputs.keys():
        return unknown("the meter was not clocked at both rates")
    if not {"maximum", "minimum"} <= rated.keys():
        return unknown("no rated inputs loaded: see the manual")
    found = inputs["maximum"] / inputs["minimum"]
    due = float(rated["maximum"] / rated["minimum"])
    words = f"{found:.1f} clocked, {due:.1f} on the plate"
    return passed(words) if abs(found / due - 1) * 100 <= NEAR_TURNDOWN else failed(words)


def flue_and_return(evidence: Evidence, item: Item) -> Finding:
    """Judge the last flue temperature against the return water of the same set."""
    del item
    flue, back = evidence.last("flue_temperature"), evidence.last("return_temperature")
    if flue is None or back is None:
        return unknown("flue and return temperature are not both on record")
    hot, cold = float(flue[1].reading.value), float(back[1].reading.value)
    words = f"flue {hot:.0f} °C, return {cold:.0f} °C"
    return passed(words, flue[0].seq) if cold <= hot <= cold + NEAR_RETURN else failed(words, flue[0].seq)


def condensate(evidence: Evidence, item: Item) -> Finding:
    """Judge condensate against the dew point of the flue gas and the return water."""
    seen = answered(evidence, item)
    back = evidence.last("return_temperature")
    if back is None or _ready(evidence):
        return unknown("return temperature or flue readings are not on record")
    assert evidence.fuel is not None
    try:
        ratio = air_ratio_from_oxygen(evidence.fuel, _number(evidence.flue[-1], "o2"))
        dew = flue_gas_dew_point(flue_gas(evidence.fuel, ratio))
    except Problem as problem:
        return unknown(problem.sentence())
    cold = float(back[1].reading.value)
    words = f"return {cold:.0f} °C, dew point {dew:.0f} °C, condensate: {seen.why}"
    if cold >= dew:
        return unknown(f"{words}: none is due", seen.seq)
    return Finding(seen.result if seen.result != Result.FAIL else Result.FAIL, words, seen.seq)


def units(evidence: Evidence, item: Item) -> Finding:
    """Judge whether each reading carries a unit and a resolution."""
    del item
    if not evidence.readings:
        return unknown("no readings on record")
    bare = [step.seq for step, event in evidence.readings if not (event.reading.unit and event.reading.resolution)]
    if bare:
        return failed(f"{len(bare)} readings lack a unit or a resolution", bare[0])
    found = sorted({wording.unit(event.reading.unit) or "no dimension" for _, event in evidence.readings})
    return passed(f"{len(evidence.readings)} readings in {', '.join(found)}")


def basis(evidence: Evidence, item: Item) -> Finding:
    """Tell the basis of inputs and of the CO limit."""
    del item
    if evidence.sheets is None:
        return unknown("the sheets kept with the visit cannot be read")
    limit = evidence.sheets.fuel.co
    if limit is None:
        return unknown(f"inputs {evidence.sheets.appliance.basis}; no CO limit loaded: see the manual")
    return passed(f"inputs {evidence.sheets.appliance.basis}, CO limit {limit.basis}, CO₂ and O₂ dry")


def _flue_values(group: Group) -> list[tuple[str, str]]:
    return [(taken.event.reading.quantity, taken.event.reading.value) for taken in group.readings]


def rates_differ(evidence: Evidence, item: Item) -> Finding:
    """Judge that the sets at the two rates are not one set written twice."""
    del item
    high, low = (rate.after for rate in evidence.rates)
    if high is None or low is None:
        return unknown("not both rates were measured")
    words = f"{high.title} and {low.title}"
    if _flue_values(high) == _flue_values(low):
        return failed(f"{words} are the same, value for value", low.settled_seq)
    return passed(f"{words} differ")


def not_round(evidence: Evidence, item: Item) -> Finding:
    """Judge that CO2 and O2 were not all called to the whole or the half."""
    del item
    values = [event.reading.value for _, event in evidence.readings if event.reading.quantity in {"co2", "o2"}]
    if len(values) < 6:
        return unknown("too few CO₂ and O₂ readings")
    odd = [value for value in values if value.rstrip("0").split(".")[-1] not in {"", "5"} and "." in value]
    words = f"{len(odd)} of {len(values)} values end in other than .0 or .5"
    return passed(words) if odd else failed(words)


def not_copied(evidence: Evidence, item: Item) -> Finding:
    """Judge that no other visit holds the same flue readings, value for value."""
    del item
    if not evidence.flue:
        return unknown("no settled flue readings")
    if evidence.alike is None:
        return unknown("the other visits are not at hand")
    if evidence.alike:
        return failed(f"value for value as in {wording.listed(list(evidence.alike)[:3])}")
    return passed("no other visit here has the same values")
