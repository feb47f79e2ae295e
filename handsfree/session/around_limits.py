"""Values around the limits that a gate's readings are held against: inside, on each edge, and a step outside."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.session.plan import Plan


@dataclass(frozen=True)
class AroundLimits:
    """What visits at random call for one quantity at one gate."""

    inside: Decimal
    """The trade's usual value, or one within the limits where that lies outside them."""
    odd: tuple[Decimal, ...]
    """The edges, a step outside each, and what the trade calls unusual; the inside value is not among them."""
    judged: bool
    """Some limit holds for it."""


def around_limits(plan: Plan, placed: PlacedGate, quantity: str) -> AroundLimits:
    """Return the values of a quantity at a gate, by the limits of the verdicts, of the gate and of the maker."""
    known, facts = plan.catalogue.quantities[quantity], plan.procedure.trade.quantities[quantity]
    step = Decimal(1).scaleb(-known.decimals)
    spans = list(_limits(plan, placed, quantity))
    lows = [low for low, _ in spans if low is not None]
    highs = [high for _, high in spans if high is not None]
    inside = _inside(facts.usual, lows, highs).quantize(step)
    odd = [*lows, *(low - step for low in lows), *highs, *(high + step for high in highs), *facts.unusual]
    sayable = (value.quantize(step) for value in odd if known.low <= value <= known.high)
    return AroundLimits(inside, tuple(value for value in dict.fromkeys(sayable) if value != inside), bool(spans))


def _limits(plan: Plan, placed: PlacedGate, quantity: str) -> Iterator[tuple[Decimal | None, Decimal | None]]:
    effects = placed.gate.effects
    for verdict in judging(plan.procedure, effects.kept_at):
        judges = verdict.gate.effects.judges
        limits = judges.limits.on(plan.sheets) if judges is not None and judges.limits is not None else None
        if limits is not None and limits.quantity == quantity:
            yield limits.low, limits.high
    for ask in effects.asks:
        if ask.quantity == quantity and (ask.low is not None or ask.high is not None):
            yield ask.low, ask.high
    maker = plan.sheets.ranges().get(quantity)
    if maker is not None:
        yield maker.low, maker.high


def judging(procedure: Procedure, point: str) -> Iterator[PlacedGate]:
    """Yield the gates that judge what is kept at a measurement point."""
    for placed in procedure.gates.values():
        judges = placed.gate.effects.judges
        if point and judges is not None and point in judges.using.values():
            yield placed


def _inside(usual: Decimal, lows: list[Decimal], highs: list[Decimal]) -> Decimal:
    low, high = max(lows, default=None), min(highs, default=None)
    if (low is None or low <= usual) and (high is None or usual <= high):
        return usual
    if low is not None and high is not None:
        return (low + high) / 2
    edge = high if low is None else low
    return usual if edge is None else edge
