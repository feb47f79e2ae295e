"""Advice for one turn: what the visit has learned so far, the maker's adjuster map, and what forbids a turn."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import assert_never

from handsfree.events.state import AdjusterTurned, Learned, State, ValueKept
from handsfree.gates.visit import TurnAdvice, Turning
from handsfree.measurement import advice as adv
from handsfree.procedure.procedure import PlacedGate
from handsfree.session.plan import Plan
from handsfree.session.stops import stops_open
from handsfree.trades.calculation import OUTSIDE


def advice_for(plan: Plan, state: State, turning: Turning) -> TurnAdvice:
    """Return the advice at an adjust gate; never while a stop is open, the maker forbids it or data is missing."""
    adjusting, sheets, catalogue = plan.trade.adjusting, plan.sheets, plan.catalogue
    adjuster = adjusting.adjusters(sheets).get(turning.rate)
    if adjuster is None:
        return TurnAdvice("", None, 0, "no adjuster loaded: see the manual", catalogue.refuse("no-adjuster"))
    if not adjusting.allowed(sheets):
        return TurnAdvice(adjuster, None, 0, "the maker forbids it", catalogue.refuse("forbidden"))
    current, moves = _learned(plan, state.history)
    if turning.rate not in current:
        return TurnAdvice(adjuster, None, 0, "no settled reading", catalogue.refuse("no-reading"))
    blocked = _blocked(plan, state, turning)
    step = adv.advise(turning.rate, current, adjusting.task(sheets), moves, [reason for reason, _ in blocked])
    if isinstance(step, adv.Refusal):
        spoken = catalogue.refuse(blocked[0][1]) if step.why == "blocked" else _refusal(plan, step)
        return TurnAdvice(adjuster, None, 0, step.reason, spoken)
    return TurnAdvice(adjuster, step.direction, step.eighths, step.reason)


def _refusal(plan: Plan, refusal: adv.Refusal) -> str:
    """Return a refusal as it is said."""
    about = refusal.about
    if isinstance(about, str):
        return plan.catalogue.refuse(refusal.why, rate=plan.catalogue.rates[about][0] if about else "", value="")
    return plan.catalogue.refuse(refusal.why, value=plan.numbers.digits(about), count=f"{about}")


def _blocked(plan: Plan, state: State, turning: Turning) -> list[tuple[str, str]]:
    """Return what forbids any turn now: for the record, and the name of what is said."""
    blocked: list[tuple[str, str]] = []
    sets = state.readings(turning.using)
    if sets:
        last = sets[-1].values
        blocked += [
            (f"{stop.name} {stop.value}", "stop-open") for stop in stops_open(plan, last, may_adjust=False)
        ]
    if state.doubted(turning.using):
        blocked.append((plan.trade.plausibility.untrue, "pair"))
    for calculation, forbids in plan.trade.adjusting.forbidding.items():
        if _last_outcome(plan, state, calculation) == OUTSIDE:
            blocked.append((forbids.reason, forbids.refusal))
    return blocked


def _last_outcome(plan: Plan, state: State, calculation: str) -> str | None:
    """Return the outcome of a calculation at the last of its gates that gave one; None when none did."""
    outcomes = [
        state.verdicts[gate_id]
        for gate_id, placed in plan.procedure.gates.items()
        if gate_id in state.verdicts and _judges(placed, calculation)
    ]
    return outcomes[-1] if outcomes else None


def _judges(placed: PlacedGate, calculation: str) -> bool:
    judging = placed.gate.effects.judges
    return judging is not None and judging.calculation == calculation


def rate_of(plan: Plan, kept_at: str) -> str | None:
    """Return the rate at which readings under a name are taken."""
    for placed in plan.procedure.gates.values():
        effects = placed.gate.effects
        if effects.kept_at == kept_at and not effects.measures:
            return effects.rate
    return None


def _learned(plan: Plan, history: Iterable[Learned]) -> tuple[dict[str, Decimal], list[adv.Move]]:
    """Return the value at each rate read since the last move, and what each move did where that is known."""
    latest: dict[str, Decimal] = {}
    fresh: dict[str, Decimal] = {}
    turned: dict[str, dict[str, int]] = {}
    moves: list[adv.Move] = []
    for one in history:
        match one:
            case AdjusterTurned():
                signed = one.eighths if one.direction == "clockwise" else -one.eighths
                for rate in latest:
                    of_rate = turned.setdefault(rate, {})
                    of_rate[one.rate] = of_rate.get(one.rate, 0) + signed
                fresh = {}
            case ValueKept():
                at_rate = rate_of(plan, one.kept_at)
                if at_rate is None or one.quantity != plan.trade.adjusting.follows:
                    continue
                since = turned.pop(at_rate, {})
                if at_rate in latest and len(since) == 1:
                    ((adjuster, net),) = since.items()
                    if net:
                        moves.append(adv.Move(adjuster, net, at_rate, latest[at_rate], one.value))
                latest[at_rate] = fresh[at_rate] = one.value
            case _:
                assert_never(one)
    return fresh, moves
