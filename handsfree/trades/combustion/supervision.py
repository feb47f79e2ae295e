"""What a supervisor verifies of combustion alone: pure functions over the readings of a recorded visit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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
from handsfree.trades.combustion.fuels import Fuel, fuel_named
from handsfree.trades.combustion.losses import flue_gas_dew_point
from handsfree.trades.combustion.stoichiometry import flue_gas
from handsfree.trades.supervision import (
    Assessment,
    Item,
    JointReadings,
    RecordedVisit,
    SupervisionRule,
    failed,
    not_asked,
    passed,
    unknown,
)

NEAR_RETURN = 30.0
"""Flue gas of a boiler that condenses lies within this many kelvin of its return: common practice, no source."""

NEAR_TURNDOWN = 10.0
"""Per cent by which a clocked turndown may differ from the plate's: common practice, no source."""

NO_SHEETS = "the sheets kept with the visit cannot be read"
NO_PAIR = "no settled CO₂ with O₂"


def _fuel(visit: RecordedVisit) -> Fuel | None:
    """Return the job's fuel; None when the sheets cannot be read."""
    name = visit.text("job.fuel")
    return fuel_named(name.replace("-", " ")) if name else None


def _shares(visit: RecordedVisit) -> tuple[float, float]:
    """Return the standard uncertainties of CO2 and O2, in points."""
    co2, o2 = (visit.exact(f"job.instrument.{name}_uncertainty") for name in ("co2", "o2"))
    return float(co2 or 0) / 2, float(o2 or 0) / 2


def _ready(visit: RecordedVisit) -> tuple[Fuel | None, Sequence[JointReadings], str]:
    """Return the fuel, the settled pairs, and why they cannot be computed with (empty when they can)."""
    fuel, found = _fuel(visit), visit.standing("co2", "o2")
    if fuel is None or 0 in _shares(visit):
        return None, found, NO_SHEETS
    return fuel, found, "" if found else NO_PAIR


def pairs(visit: RecordedVisit, item: Item) -> Assessment:
    """Judge each settled pair: its residual within twice its standard uncertainty."""
    del item
    fuel, found, why = _ready(visit)
    if why or fuel is None:
        return unknown(why)
    u_co2, u_o2 = _shares(visit)
    worst = (0.0, 0.0, found[0])
    for taken in found:
        oxygen = taken.number("o2")
        residual = pair_residual(fuel, taken.number("co2"), oxygen)
        allowed = 2 * pair_residual_uncertainty(fuel, oxygen, u_co2, u_o2)
        if abs(residual) / allowed >= worst[0]:
            worst = (abs(residual) / allowed, residual, taken)
    share, residual, taken = worst
    words = f"largest residual {residual:+.2f} points of CO₂ ({taken.title}), {share:.0%} of what is allowed"
    return passed(words, taken.seq) if share <= 1 else failed(words, taken.seq)


def implied(visit: RecordedVisit, item: Item) -> Assessment:
    """Judge whether the pairs imply the highest CO2 of the job's fuel, within twice the standard uncertainty."""
    del item
    fuel, found, why = _ready(visit)
    if why or fuel is None:
        return unknown(why)
    last = found[-1]
    by_pair = implied_fuel(last.number("co2"), last.number("o2"), *_shares(visit))
    due = ultimate_carbon_dioxide(fuel)
    allowed = 2 * by_pair.standard_uncertainty + fuel.spread
    words = (
        f"{by_pair.ultimate:.1f} % implied by the last pair, {due:.1f} % for {fuel.name}, {allowed:.1f} allowed"
    )
    return passed(words, last.seq) if abs(by_pair.ultimate - due) <= allowed else failed(words, last.seq)


def carbon_monoxide(visit: RecordedVisit, item: Item) -> Assessment:
    """Recompute CO on the basis of the maker's limit for what was left at each rate."""
    del item
    left = visit.left("co", "o2", "co2")
    if not left or _fuel(visit) is None:
        return unknown("no settled CO with O₂")
    limit, limit_basis = visit.exact("fuel.co.high"), visit.text("fuel.co.basis")
    told, over = [], False
    for taken in left:
        co, oxygen, co2 = (taken.number(quantity) for quantity in ("co", "o2", "co2"))
        free = air_free_carbon_monoxide(co, oxygen)
        told.append(f"{taken.point} {co:.0f} ppm as measured, {free:.0f} ppm air-free")
        if limit is not None:
            by_basis = {"air-free": free, "as measured": co, "ratio": carbon_monoxide_ratio(co, co2)}
            over = over or by_basis[limit_basis] > float(limit)
    words = "; ".join(told)
    if limit is None:
        return unknown(f"{words}; no limit loaded: see the manual")
    words = f"{words}; limit {limit} {limit_basis}"
    return failed(words, left[-1].seq) if over else passed(words, left[-1].seq)


def excess(visit: RecordedVisit, item: Item) -> Assessment:
    """Compare excess air from O2 with that from CO2; they differ by no more than both readings leave uncertain."""
    del item
    fuel, found, why = _ready(visit)
    if why or fuel is None:
        return unknown(why)
    last = found[-1]
    u_co2, u_o2 = _shares(visit)
    co2, oxygen = last.number("co2"), last.number("o2")
    try:
        by_o2, by_co2 = (
            excess_air(air_ratio_from_oxygen(fuel, oxygen)),
            excess_air(air_ratio_from_carbon_dioxide(fuel, co2)),
        )
        low = excess_air(air_ratio_from_oxygen(fuel, max(oxygen - 2 * u_o2, 0)))
        high = excess_air(air_ratio_from_carbon_dioxide(fuel, co2 - 2 * u_co2))
    except Problem as problem:
        return failed(problem.sentence(), last.seq)
    allowed = abs(by_o2 - low) + abs(high - by_co2)
    words = f"{by_o2:.0f} % from O₂, {by_co2:.0f} % from CO₂ ({last.title})"
    return passed(words, last.seq) if abs(by_o2 - by_co2) <= allowed else failed(words, last.seq)


def fan_speed(visit: RecordedVisit, item: Item) -> Assessment:
    """Judge whether the fan runs faster at maximum than at minimum."""
    del item
    by_rate = {called.point: called for called in visit.called("fan_speed")}
    if not {"maximum", "minimum"} <= by_rate.keys():
        return unknown("fan speed is not on record at both rates")
    high, low = by_rate["maximum"], by_rate["minimum"]
    words = f"{high.value:.0f} at maximum, {low.value:.0f} at minimum"
    return passed(words, low.seq) if high.value > low.value else failed(words, low.seq)


def turndown(visit: RecordedVisit, item: Item) -> Assessment:
    """Compare the clocked inputs at both rates with the plate's turndown."""
    del item
    inputs = {
        told.point or "maximum": float(told.values["kilowatt"])
        for told in visit.numbers("gas-input")
        if "kilowatt" in told.values
    }
    high, low = (visit.exact(f"fuel.input_kilowatt.{rate}") for rate in ("maximum", "minimum"))
    if not {"maximum", "minimum"} <= inputs.keys():
        return not_asked("the meter was not clocked at both rates")
    if high is None or low is None:
        return unknown("no rated inputs loaded: see the manual")
    found, due = inputs["maximum"] / inputs["minimum"], float(high / low)
    words = f"{found:.1f} clocked, {due:.1f} on the plate"
    return passed(words) if abs(found / due - 1) * 100 <= NEAR_TURNDOWN else failed(words)


def flue_and_return(visit: RecordedVisit, item: Item) -> Assessment:
    """Judge the last flue temperature against the return water of the same set."""
    del item
    flue, back = visit.last_called("flue_temperature"), visit.last_called("return_temperature")
    if flue is None or back is None:
        return unknown("flue and return temperature are not both on record")
    hot, cold = float(flue.value), float(back.value)
    words = f"flue {hot:.0f} °C, return {cold:.0f} °C"
    return passed(words, flue.seq) if cold <= hot <= cold + NEAR_RETURN else failed(words, flue.seq)


def condensate(visit: RecordedVisit, item: Item) -> Assessment:
    """Judge condensate against the dew point of the flue gas and the return water."""
    seen = visit.answered(item.gates, item.good)
    back = visit.last_called("return_temperature")
    fuel, found, why = _ready(visit)
    if back is None or why or fuel is None:
        return unknown("return temperature or flue readings are not on record")
    try:
        ratio = air_ratio_from_oxygen(fuel, found[-1].number("o2"))
        dew = flue_gas_dew_point(flue_gas(fuel, ratio))
    except Problem as problem:
        return unknown(problem.sentence())
    cold = float(back.value)
    words = f"return {cold:.0f} °C, dew point {dew:.0f} °C, condensate: {seen.why}"
    if cold >= dew:
        return unknown(f"{words}: none is due", seen.seq)
    return Assessment(seen.result, words, seen.seq)


def basis(visit: RecordedVisit, item: Item) -> Assessment:
    """Tell the basis of inputs and of the CO limit."""
    del item
    inputs, limit = visit.text("appliance.basis"), visit.text("fuel.co.basis")
    if not inputs:
        return unknown(NO_SHEETS)
    if not limit:
        return unknown(f"inputs {inputs}; no CO limit loaded: see the manual")
    return passed(f"inputs {inputs}, CO limit {limit}, CO₂ and O₂ dry")


def derived(visit: RecordedVisit, taken: JointReadings) -> Mapping[str, float]:
    """Return CO2 read minus the CO2 that belongs to the O2 read, in points, under the name `pair_residual`."""
    fuel = _fuel(visit)
    if fuel is None or not {"co2", "o2"} <= taken.values.keys():
        return {}
    return {"pair_residual": pair_residual(fuel, taken.number("co2"), taken.number("o2"))}


RULES: Mapping[str, SupervisionRule[RecordedVisit]] = {
    "basis": SupervisionRule(basis),
    "co-basis": SupervisionRule(carbon_monoxide, reads=("co",)),
    "condensate": SupervisionRule(condensate, ("gates", "good"), reads=("return_temperature",)),
    "excess-air": SupervisionRule(excess, reads=("co2",)),
    "fan-speed": SupervisionRule(fan_speed, reads=("fan_speed",)),
    "flue-and-return": SupervisionRule(flue_and_return, reads=("flue_temperature",)),
    "implied-fuel": SupervisionRule(implied, reads=("co2",)),
    "pairs": SupervisionRule(pairs, reads=("co2",)),
    "turndown": SupervisionRule(turndown, reads=("meter_time",)),
}
