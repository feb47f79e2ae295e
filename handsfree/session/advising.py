"""Advice for one turn: what the visit has learned so far, the maker's adjuster map, and what forbids a turn."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import assert_never

from handsfree.measurement import advice as adv
from handsfree.procedure.model import AdjustGate, ReadingsGate
from handsfree.session.plan import Plan
from handsfree.session.state import State
from handsfree.session.stops import stops_open
from handsfree.trades.calculation import OUTSIDE


@dataclass(frozen=True)
class TurnAdvice:
    """One step, or none with the reason: then `eighths` is 0."""

    adjuster: str
    direction: str
    eighths: int
    reason: str
    """For the record."""
    spoken: str = ""
    """Why there is none, as it is said."""


def advice_for(plan: Plan, state: State, gate: AdjustGate) -> TurnAdvice:
    """Return the advice at an adjust gate; never while a stop is open, the maker forbids it or data is missing."""
    adjusting, sheets, catalogue = plan.trade.adjusting, plan.sheets, plan.catalogue
    adjuster = adjusting.adjusters(sheets).get(gate.rate)
    if adjuster is None:
        return TurnAdvice("", "", 0, "no adjuster loaded: see the manual", catalogue.refuse("no-adjuster"))
    if not adjusting.allowed(sheets):
        return TurnAdvice(adjuster, "", 0, "the maker forbids it", catalogue.refuse("forbidden"))
    current, moves = _learned(steps(plan, state))
    if gate.rate not in current:
        return TurnAdvice(adjuster, "", 0, "no settled reading", catalogue.refuse("no-reading"))
    blocked = _blocked(plan, state, gate)
    step = adv.advise(gate.rate, current, adjusting.task(sheets), moves, [reason for reason, _ in blocked])
    if isinstance(step, adv.Refusal):
        spoken = catalogue.refuse(blocked[0][1]) if step.why == "blocked" else _refusal(plan, step)
        return TurnAdvice(adjuster, "", 0, step.reason, spoken)
    return TurnAdvice(adjuster, step.direction, step.eighths, step.reason)


def _refusal(plan: Plan, refusal: adv.Refusal) -> str:
    """Return a refusal as it is said."""
    about = refusal.about
    if isinstance(about, str):
        return plan.catalogue.refuse(refusal.why, rate=plan.catalogue.rates[about][0] if about else "", value="")
    return plan.catalogue.refuse(refusal.why, value=plan.numbers.digits(about), count=f"{about}")


def _blocked(plan: Plan, state: State, gate: AdjustGate) -> list[tuple[str, str]]:
    """Return what forbids any turn now: for the record, and the name of what is said."""
    blocked: list[tuple[str, str]] = []
    sets = state.readings(gate.using)
    if sets:
        last = sets[-1].values
        blocked += [
            (f"{stop.name} {stop.value}", "stop-open") for stop in stops_open(plan, last, may_adjust=False)
        ]
    if state.doubted(gate.using):
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
        if gate_id in state.verdicts and getattr(placed.gate, "calculation", "") == calculation
    ]
    return outcomes[-1] if outcomes else None


def rate_of(plan: Plan, kept_at: str) -> str | None:
    """Return the rate at which readings under a name are taken."""
    for placed in plan.procedure.gates.values():
        if isinstance(placed.gate, ReadingsGate) and placed.gate.at == kept_at:
            return placed.gate.rate
    return None


@dataclass(frozen=True)
class SettledStep:
    """A value that settled at a rate."""

    rate: str
    value: Decimal


@dataclass(frozen=True)
class TurnStep:
    """A turn of one rate's adjuster; clockwise is positive."""

    adjuster: str
    eighths: int


def steps(plan: Plan, state: State) -> Iterator[SettledStep | TurnStep]:
    """Yield what was settled and turned on the visit, in order: the one place that reads the history."""
    for first, second, third in state.history:
        if first == "turn":
            direction, _, eighths = third.partition(" ")
            yield TurnStep(second, int(eighths) if direction == "clockwise" else -int(eighths))
        elif (rate := rate_of(plan, first)) is not None:
            yield SettledStep(rate, Decimal(second))


def _learned(done: Iterable[SettledStep | TurnStep]) -> tuple[dict[str, Decimal], list[adv.Move]]:
    """Return the value at each rate read since the last move, and what each move did where that is known."""
    latest: dict[str, Decimal] = {}
    fresh: dict[str, Decimal] = {}
    turned: dict[str, dict[str, int]] = {}
    moves: list[adv.Move] = []
    for step in done:
        match step:
            case TurnStep(adjuster, eighths):
                for rate in latest:
                    of_rate = turned.setdefault(rate, {})
                    of_rate[adjuster] = of_rate.get(adjuster, 0) + eighths
                fresh = {}
            case SettledStep(rate, value):
                since = turned.pop(rate, {})
                if rate in latest and len(since) == 1:
                    ((of, net),) = since.items()
                    if net:
                        moves.append(adv.Move(of, net, rate, latest[rate], value))
                latest[rate] = fresh[rate] = value
            case _ as never:
                assert_never(never)
    return fresh, moves
