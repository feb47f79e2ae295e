"""Whether the sets called at a gate have settled, quantity by quantity."""

from __future__ import annotations

from decimal import Decimal
from itertools import takewhile

from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.block import Settle
from handsfree.gates.visit import Judged
from handsfree.measurement.settling import Sample, SettleRule, Settling, judge_settling, rising
from handsfree.session import limits
from handsfree.session.limits import Passed
from handsfree.session.plan import Plan
from handsfree.session.situation import numeric
from handsfree.session.stops import stops_open

TOLERANCE = {
    "co2": Decimal("0.15"),
    "o2": Decimal("0.20"),
    "flue_temperature": Decimal(4),
    "air_temperature": Decimal(2),
    "flow_temperature": Decimal(4),
    "return_temperature": Decimal(4),
    "working_pressure": Decimal("0.5"),
}
"""The move still to come that may be left, in the quantity's unit: common practice, no source."""

CO_LEAST = Decimal(6)
CO_SHARE = Decimal("0.10")
"""CO may still move 6 ppm or a tenth of its value, whichever is more: common practice, no source."""

PAIR = frozenset({"co2", "o2"})
"""The two that are tied to each other."""

OTHER_STEPS = 4
"""For any other quantity: this many steps of its display."""


def settle_seconds(plan: Plan, settle: Settle) -> int:
    """Return how long to wait after a change: the maker's wait when it is longer than the procedure's."""
    return max(settle.wait_seconds, plan.sheets.appliance.wait_after_change_seconds or 0)


def judge_sets(plan: Plan, state: State, kept_at: str, settle: Settle) -> tuple[Judged, ...]:
    """Judge every quantity that was a number in all of the last sets."""
    judged = []
    for quantity, samples in _samples(state, kept_at).items():
        if len(samples) >= settle.sets:
            settling = judge_settling(samples, _rule(plan, settle, quantity, samples))
            unit = plan.catalogue.quantities[quantity].unit
            judged.append(_judged(kept_at, quantity, unit, samples, settling))
    return tuple(judged)


def rising_beyond(plan: Plan, state: State, kept_at: str, settle: Settle) -> Passed | None:
    """Return the stop that rising CO opens, if it does: more dangerous than any steady value."""
    samples = _samples(state, kept_at).get("co", ())
    if len(samples) < 2 or not rising(samples, _rule(plan, settle, "co", samples)):
        return None
    last = state.readings(kept_at)[-1].values
    stops = stops_open(plan.sheets, {"co": last["co"]}, rising=True)
    return limits.of(stops[0]) if stops else None


def _samples(state: State, kept_at: str) -> dict[str, tuple[Sample, ...]]:
    """Return the values of each quantity; CO2 and O2 of doubted sets and of others are never mixed.

    They count from the last sets in a row that are alike in this; before those they are as if not read, and
    another set is asked for.
    """
    found: dict[str, list[Sample]] = {}
    sets = state.readings(kept_at)
    alike = takewhile(lambda taken: bool(taken.doubted) == bool(sets[-1].doubted), reversed(sets))
    pairs = {taken.number for taken in alike}
    for taken in sets:
        seconds = round((taken.at - state.last_change) / 1000)
        for quantity, reading in numeric(taken.values).items():
            if quantity not in PAIR or taken.number in pairs:
                found.setdefault(quantity, []).append(Sample(seconds, reading.value))
    return {quantity: tuple(samples) for quantity, samples in found.items()}


def _rule(plan: Plan, settle: Settle, quantity: str, samples: tuple[Sample, ...]) -> SettleRule:
    resolution = max(Decimal(1).scaleb(int(sample.value.as_tuple().exponent)) for sample in samples)
    return SettleRule(
        tolerance=_tolerance(quantity, samples[-1].value, resolution),
        resolution=resolution,
        minimum_wait=float(settle_seconds(plan, settle)),
        window=float(settle.apart_seconds * (settle.sets - 1)) * 0.9,
        minimum_samples=settle.sets,
    )


def _tolerance(quantity: str, value: Decimal, resolution: Decimal) -> Decimal:
    if quantity == "co":
        return max(CO_LEAST, abs(value) * CO_SHARE)
    return TOLERANCE.get(quantity, OTHER_STEPS * resolution)


def _judged(kept_at: str, quantity: str, unit: str, samples: tuple[Sample, ...], settling: Settling) -> Judged:
    event = ev.SettlingJudged(
        kept_at=kept_at,
        quantity=quantity,
        settled=settling.settled,
        reason=settling.reason,
        mean=f"{settling.mean:f}",
        slope=f"{settling.slope:f}",
        slope_half_width=_text(settling.slope_half_width),
        remaining=_text(settling.remaining),
        forecast_seconds=f"{settling.forecast_seconds:f}",
    )
    resolution = Decimal(1).scaleb(int(samples[-1].value.as_tuple().exponent) - 1)
    mean = settling.mean.quantize(resolution)
    reading = ev.ReadingRecord(quantity=quantity, value=f"{mean:f}", unit=unit, resolution=f"{resolution:f}")
    uncertainty = settling.standard_uncertainty if settling.settled else 0.0
    settled = ev.ValueSettled(kept_at=kept_at, reading=reading, uncertainty=f"{uncertainty:.4f}")
    return Judged(event, settled)


def _text(number: Decimal) -> str:
    return f"{number:f}" if number.is_finite() else "unknown"
