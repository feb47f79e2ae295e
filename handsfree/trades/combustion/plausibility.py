"""Physics as a check digit: which heard value fits the fuel, the set and what was read before.

It joins the chemistry (which CO2 belongs to which O2) and the statistics (how surely). It only ever weighs
or asks again. A CO value is never weighed by it, a value beyond a stop limit is never made less likely by
it, and it cannot see a diluted sample: both CO2 and O2 move along the same line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.measurement.check_digit import (
    Disagreement,
    Expectation,
    joined,
    learned,
    log_density,
    peak,
)
from handsfree.measurement.distributions import rounded
from handsfree.measurement.reading import Reading
from handsfree.measurement.uncertainty import combined, expanded, of_resolution, rectangular
from handsfree.measurement.verdict import Band
from handsfree.trades.combustion.flue_gas import (
    carbon_dioxide_from_oxygen,
    implied_fuel,
    ultimate_carbon_dioxide,
)
from handsfree.trades.combustion.fuels import FUELS, Fuel
from handsfree.trades.combustion.sheets import Rate, combustion
from handsfree.trades.combustion.stoichiometry import AIR_CARBON_DIOXIDE, AIR_OXYGEN
from handsfree.trades.combustion.stop_limits import StopLimits
from handsfree.trades.combustion.stops import fuel_of, limits_in_force, passes_limit
from handsfree.trades.plausibility import Consistency, Known, Plausibility

LOG_STEP = Decimal("0.001")
"""Log priors and shares are rounded to this before they decide."""

NEVER_WEIGHED = frozenset({"co", "ambient_co"})
"""Quantities that no prior may decide."""

_WIDTH: Mapping[str, float] = {
    "co2": 25,
    "o2": 21,
    "flue_temperature": 420,
    "air_temperature": 100,
    "meter_time": 600,
}
_REPEAT: Mapping[str, float] = {"co2": 0.15, "o2": 0.2, "flue_temperature": 4, "air_temperature": 2}
"""Standard deviation between two sets thirty seconds apart with nothing changed: common practice, no source."""

_AS_FOUND = 1.2
"""Standard deviation of as-found CO2 about the middle of the maker's band, in points: no source."""

_ANALYSER_TABLE = 0.15
"""Half-width of the ultimate CO2 that analysers have on file for one fuel (11.7 to 12.0 for natural gas)."""

_SUPPLIES = ("natural gas", "propane", "butane", "natural gas with 20 % hydrogen")
"""Fuels that a strange pair is compared with."""

_FLICKER = 0.2
"""Standard deviation, in display steps, between two glances at the two numbers: common practice, no source."""

_VERDICT_ROOM = Decimal("0.2")
"""Points of CO2: the pair check lets no larger mishearing pass. Common practice, no source."""

_COVERAGE = 2.0


@dataclass(frozen=True)
class Situation:
    """What is known when a reading is called: job sheet, this set, the one before, accepted pairs."""

    fuel: Fuel
    co2_computed: bool
    """The analyser computes CO2 from O2; else it measures it."""
    co2_uncertainty: Decimal = Decimal("0.3")
    """Expanded, k = 2, in points of per cent."""
    o2_uncertainty: Decimal = Decimal("0.3")
    analyser_ultimate: Decimal | None = None
    """The ultimate CO2 that the analyser computes with, where the job sheet gives it."""
    co2_band: Band | None = None
    this_set: Mapping[str, Reading] = field(default_factory=dict)
    """Accepted in the set being called."""
    previous_set: Mapping[str, Reading] = field(default_factory=dict)
    """The set before, at the same rate with nothing changed since; empty after any change."""
    pairs: tuple[tuple[Decimal, Decimal], ...] = ()
    """CO2 and O2 of the pairs accepted this visit, at any rate."""
    expected_seconds: Decimal | None = None
    """Meter time at rated input."""
    limits: StopLimits = field(default_factory=StopLimits)


@dataclass(frozen=True)
class PairJudgement:
    """Whether a CO2 and an O2 can both be true, and of which fuel."""

    consistent: bool
    residual: Decimal
    """CO2 minus the CO2 that belongs to the O2, points of per cent, after what the visit has learned."""
    limit: Decimal
    implied_ultimate: Decimal | None
    fits: tuple[str, ...]
    """Other fuels that the pair would fit, when it does not fit the job's."""
    sentence: str


def judge_pair(situation: Situation, co2: Reading, o2: Reading) -> PairJudgement:
    """Say whether the pair agrees on the job's fuel, and if not, which fuel it fits."""
    if not 0 <= o2.value < Decimal(repr(100 * AIR_OXYGEN)):
        return PairJudgement(
            False,
            Decimal(0),
            Decimal(0),
            None,
            (),
            f"O2 {o2.value} is more than air holds" if o2.value > 0 else f"O2 {o2.value} is below zero",
        )
    residual, limit = _residual_and_limit(situation, situation.fuel, co2, o2, situation.pairs)
    implied = rounded(implied_fuel(float(co2.value), float(o2.value)).ultimate, Decimal("0.01"))
    if abs(residual) <= limit:
        return PairJudgement(True, residual, limit, implied, (), f"the pair fits {situation.fuel.name}")
    told = abs(residual) > limit + _last_digits(situation.fuel, co2, o2)
    fits = _fitting(situation, co2, o2) if told else ()  # a doubt of one last digit is no other fuel
    due = rounded(carbon_dioxide_from_oxygen(situation.fuel, float(o2.value)), Decimal("0.1"))
    sentence = f"CO2 {co2.value} with O2 {o2.value} does not fit {situation.fuel.name}: CO2 near {due} would"
    if fits:
        sentence += f"; that pair fits {' or '.join(fits)}"
    return PairJudgement(False, residual, limit, implied, fits, sentence)


def log_prior(situation: Situation, candidate: Reading) -> Decimal:
    """Return the log prior density of a candidate, rounded; 0 for every CO value.

    A candidate that would open a stop limit gets the highest prior there is: it must not be argued away.
    """
    quantity = candidate.quantity
    if quantity in NEVER_WEIGHED or quantity not in _WIDTH:
        return Decimal(0)
    expectation = joined(_expectations(situation, candidate))
    if opens_stop(situation, candidate):
        return rounded(peak(expectation, _WIDTH[quantity]), LOG_STEP)
    return rounded(log_density(float(candidate.value), expectation, _WIDTH[quantity]), LOG_STEP)


def opens_stop(situation: Situation, candidate: Reading) -> bool:
    """Say whether the candidate, with what this set already holds, would open a stop limit."""
    return passes_limit(situation.fuel, situation.limits, situation.this_set, candidate)


def _expectations(situation: Situation, candidate: Reading) -> list[Expectation]:
    """Return what bears on the candidate's quantity: the other half of its pair, the last set, the band."""
    quantity, found = candidate.quantity, []
    before = situation.previous_set.get(quantity)
    if before is not None and quantity in _REPEAT:
        found.append(Expectation(float(before.value), _REPEAT[quantity]))
    other = situation.this_set.get({"co2": "o2", "o2": "co2"}.get(quantity, ""))
    if other is not None:
        pair = _pair_expectation(situation, candidate, other)
        found += [pair] if pair else []
    if quantity == "meter_time" and situation.expected_seconds is not None:
        seconds = float(situation.expected_seconds)
        found.append(Expectation(seconds, 0.1 * seconds))
    if not found and quantity in {"co2", "o2"}:
        found += _band_expectation(situation, quantity)
    return found


def _pair_expectation(situation: Situation, candidate: Reading, other: Reading) -> Expectation | None:
    slope, ultimate = _slope(situation.fuel), _ultimate(situation, situation.fuel)
    co2, o2 = (candidate, other) if candidate.quantity == "co2" else (other, candidate)
    due = _disagreement(situation, situation.fuel, co2, o2, situation.pairs)
    if candidate.quantity == "co2":
        return Expectation(ultimate - slope * float(other.value) + due.mean, due.deviation)
    return Expectation((ultimate + due.mean - float(other.value)) / slope, due.deviation / slope)


def _band_expectation(situation: Situation, quantity: str) -> list[Expectation]:
    band = situation.co2_band
    if band is None or band.low is None or band.high is None:
        return []
    middle, slope = float(band.low + band.high) / 2, _slope(situation.fuel)
    if quantity == "co2":
        return [Expectation(middle, _AS_FOUND)]
    return [Expectation((_ultimate(situation, situation.fuel) - middle) / slope, _AS_FOUND / slope)]


def _ultimate(situation: Situation, fuel: Fuel) -> float:
    given = situation.analyser_ultimate
    if situation.co2_computed and given is not None and fuel == situation.fuel:
        return float(given)
    return ultimate_carbon_dioxide(fuel)


def _slope(fuel: Fuel) -> float:
    """Return points of CO2 lost for each point of O2."""
    return (ultimate_carbon_dioxide(fuel) - 100 * AIR_CARBON_DIOXIDE) / (100 * AIR_OXYGEN)


def _residual(situation: Situation, fuel: Fuel, co2: float, o2: float) -> float:
    ultimate = _ultimate(situation, fuel)
    share_of_air = o2 / (100 * AIR_OXYGEN)
    return co2 - ultimate * (1 - share_of_air) - 100 * AIR_CARBON_DIOXIDE * share_of_air


def _disagreement(
    situation: Situation, fuel: Fuel, co2: Reading, o2: Reading, pairs: Sequence[tuple[Decimal, Decimal]]
) -> Disagreement:
    """Return the residual to expect: the lasting part learned from the pairs, the passing part from steps."""
    slope = _slope(fuel)
    passing = combined(_display(co2), slope * _display(o2))
    if situation.co2_computed:
        known = situation.analyser_ultimate is not None and fuel == situation.fuel
        lasting = 0.0 if known else rectangular(_ANALYSER_TABLE)
    else:
        cells = combined(
            expanded(float(situation.co2_uncertainty)), slope * expanded(float(situation.o2_uncertainty))
        )
        lasting = combined(cells, rectangular(fuel.spread))
    seen = [_residual(situation, fuel, float(c), float(o)) for c, o in pairs]
    return learned(seen, lasting, passing)


def _display(reading: Reading) -> float:
    step = float(reading.resolution)
    return combined(of_resolution(step), _FLICKER * step)


def _residual_and_limit(
    situation: Situation, fuel: Fuel, co2: Reading, o2: Reading, pairs: Sequence[tuple[Decimal, Decimal]]
) -> tuple[Decimal, Decimal]:
    due = _disagreement(situation, fuel, co2, o2, pairs)
    residual = _residual(situation, fuel, float(co2.value), float(o2.value)) - due.mean
    least = float(_last_digits(fuel, co2, o2)) / 2
    return rounded(residual, LOG_STEP), rounded(max(_COVERAGE * due.deviation, least), LOG_STEP)


def _last_digits(fuel: Fuel, co2: Reading, o2: Reading) -> Decimal:
    """Return what one last digit of each display comes to, in points of CO2: two glances differ by as much."""
    steps = float(co2.resolution) + _slope(fuel) * float(o2.resolution)
    return rounded(steps if math.isfinite(steps) else 0.0, LOG_STEP)


def _fitting(situation: Situation, co2: Reading, o2: Reading) -> tuple[str, ...]:
    """Return the other fuels the pair would fit, nearest first; nothing learned on the job's fuel is used."""
    found = []
    for name in _SUPPLIES:
        residual, limit = _residual_and_limit(situation, FUELS[name], co2, o2, ())
        if name != situation.fuel.name and abs(residual) <= limit:
            found.append((abs(residual), name))
    return tuple(name for _, name in sorted(found))


def situation_of(known: Known) -> Situation:
    """Return what bears on the readings of a boiler or burner, of all that is known."""
    sheets = combustion(known.sheets)
    instrument = sheets.job.instrument
    return Situation(
        fuel=fuel_of(known.sheets),
        co2_computed=instrument.co2 == "computed",
        co2_uncertainty=instrument.co2_uncertainty,
        o2_uncertainty=instrument.o2_uncertainty,
        co2_band=_band(known),
        this_set=known.this_set,
        previous_set=known.previous_set,
        pairs=tuple((values["co2"], values["o2"]) for values in known.together),
        limits=limits_in_force(known.sheets),
    )


def _band(known: Known) -> Band | None:
    sheets = combustion(known.sheets)
    rates: tuple[Rate, ...] = ("maximum", "minimum")
    maker = next((sheets.fuel.co2.get(rate) for rate in rates if rate == known.rate), None)
    return None if maker is None else Band(maker.low, maker.high, sheets.appliance.source(maker.page))


def _near_limit(band: Band | None, co2: Decimal) -> bool:
    edges = [] if band is None else [edge for edge in (band.low, band.high) if edge is not None]
    return any(abs(co2 - edge) <= _VERDICT_ROOM for edge in edges)


class FlueGasPlausibility(Plausibility):
    """CO2 and O2 of one flue gas are tied by the fuel; both, and what repeats, are weighed."""

    def consistent(self, known: Known) -> Consistency:
        """Return whether CO2 and O2 can both be true."""
        situation = situation_of(known)
        co2, o2 = known.this_set["co2"], known.this_set["o2"]
        pair = judge_pair(situation, co2, o2)
        near = _near_limit(situation.co2_band, co2.value)
        return Consistency(pair.consistent, pair.sentence, self.tied, pair.fits, near)

    def log_prior(self, known: Known, candidate: Reading) -> Decimal:
        """Return the log prior density of a candidate."""
        return log_prior(situation_of(known), candidate)


PLAUSIBILITY = FlueGasPlausibility(tied=("co2", "o2"), untrue="CO2 and O2 do not fit")
