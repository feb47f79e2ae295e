"""Whether the sets called at a gate have settled, quantity by quantity."""

from __future__ import annotations

from decimal import Decimal
from itertools import takewhile

from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.block import Settle
from handsfree.gates.visit import SettlingJudgement
from handsfree.measurement.settling import Sample, SettleRule, Settling, judge_settling, rising
from handsfree.session.plan import Plan
from handsfree.session.situation import numeric
from handsfree.session.stops import called
from handsfree.trades.stops import OpenStop

OTHER_STEPS = 4
"""For a quantity that the trade gives no tolerance: this many steps of its display. Common practice, no source."""


def settle_seconds(plan: Plan, settle: Settle) -> int:
    """Return how long to wait after a change: the maker's wait when it is longer than the procedure's."""
    makers = plan.sheets.appliance.wait_after_change_seconds
    return settle.wait_seconds if makers is None else max(settle.wait_seconds, makers)


def judge_sets(plan: Plan, state: State, kept_at: str, settle: Settle) -> tuple[SettlingJudgement, ...]:
    """Judge every quantity that was a number in all of the last sets."""
    judged = []
    for quantity, samples in _samples(plan, state, kept_at).items():
        if len(samples) >= settle.sets:
            steps = _resolutions(state, kept_at, quantity)
            settling = judge_settling(samples, _rule(plan, settle, quantity, samples, max(steps)))
            unit = plan.catalogue.quantities[quantity].unit
            judged.append(_judged(kept_at, quantity, unit, steps[-1], settling))
    return tuple(judged)


def rising_stop(plan: Plan, state: State, kept_at: str, settle: Settle) -> OpenStop | None:
    """Return the gravest stop that a rising quantity opens, if one does: more dangerous than any steady value."""
    watched, found = plan.trade.stops, _samples(plan, state, kept_at)
    for quantity in watched.rising:
        samples = found.get(quantity, ())
        if not samples:
            continue
        step = max(_resolutions(state, kept_at, quantity))
        if rising(samples, _rule(plan, settle, quantity, samples, step)):
            last = state.readings(kept_at)[-1].values[quantity]
            stops = watched.open_rising(plan.sheets, quantity, called(last))
            if stops:
                return stops[0]
    return None


def _samples(plan: Plan, state: State, kept_at: str) -> dict[str, tuple[Sample, ...]]:
    """Return the values of each quantity; tied quantities of doubted sets and of others are never mixed.

    They count from the last sets in a row that are alike in this; before those they are as if not read, and
    another set is asked for.
    """
    found: dict[str, list[Sample]] = {}
    sets = state.readings(kept_at)
    alike = takewhile(lambda taken: bool(taken.doubted) == bool(sets[-1].doubted), reversed(sets))
    unmixed = {taken.number for taken in alike}
    tied = plan.trade.plausibility.tied
    for taken in sets:
        seconds = round((taken.at - state.last_change) / 1000)
        for quantity, reading in numeric(taken.values).items():
            if quantity not in tied or taken.number in unmixed:
                found.setdefault(quantity, []).append(Sample(seconds, reading.value))
    return {quantity: tuple(samples) for quantity, samples in found.items()}


def _rule(
    plan: Plan, settle: Settle, quantity: str, samples: tuple[Sample, ...], resolution: Decimal
) -> SettleRule:
    return SettleRule(
        tolerance=tolerance(plan, quantity, samples[-1].value, resolution),
        resolution=resolution,
        minimum_wait=float(settle_seconds(plan, settle)),
        window=float(settle.interval_seconds * (settle.sets - 1)) * 0.9,
        minimum_samples=settle.sets,
    )


def _resolutions(state: State, kept_at: str, quantity: str) -> list[Decimal]:
    """Return the steps of the display, in its unit, as a quantity was called with them."""
    read = (numeric(taken.values).get(quantity) for taken in state.readings(kept_at))
    return [one.resolution for one in read if one is not None]


def tolerance(plan: Plan, quantity: str, value: Decimal, resolution: Decimal) -> Decimal:
    """Return how far a quantity may still move, in its unit; `resolution` is the step of its display."""
    known = plan.trade.tolerances.get(quantity)
    return OTHER_STEPS * resolution if known is None else known.at(value)


def _judged(kept_at: str, quantity: str, unit: str, step: Decimal, settling: Settling) -> SettlingJudgement:
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
    resolution = step.scaleb(-1)
    mean = settling.mean.quantize(resolution)
    reading = ev.ReadingRecord(quantity=quantity, value=f"{mean:f}", unit=unit, resolution=f"{resolution:f}")
    uncertainty = settling.standard_uncertainty if settling.settled else 0.0
    settled = ev.ValueSettled(kept_at=kept_at, reading=reading, uncertainty=f"{uncertainty:.4f}")
    return SettlingJudgement(event, settled)


def _text(number: Decimal) -> str:
    return f"{number:f}" if number.is_finite() else "unknown"
