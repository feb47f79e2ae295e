"""Advice for one turn: what the visit has learned so far, the maker's adjuster map, and what forbids a turn."""

from __future__ import annotations

from decimal import Decimal

from handsfree.events.state import AdjusterTurned, State
from handsfree.gates.visit import TurnAdvice, Turning
from handsfree.measurement import advice as adv
from handsfree.measurement.verdict import Band
from handsfree.session.plan import Plan
from handsfree.session.stops import stops_open
from handsfree.trades.combustion.sheets import combustion


def advice_for(plan: Plan, state: State, gate: Turning) -> TurnAdvice:
    """Return the advice at an adjust gate; never while a stop is open, the maker forbids it or data is missing."""
    sheets, catalogue = combustion(plan.sheets), plan.catalogue
    appliance = sheets.appliance
    adjuster = appliance.adjusters.get(gate.rate)
    if adjuster is None:
        return TurnAdvice("", None, 0, "no adjuster loaded: see the manual", catalogue.refuse("no-adjuster"))
    if appliance.adjustment == "forbidden":
        return TurnAdvice(adjuster.said, None, 0, "the maker forbids it", catalogue.refuse("forbidden"))
    current, moves = _learned(plan, state)
    if gate.rate not in current:
        return TurnAdvice(adjuster.said, None, 0, "no settled reading", catalogue.refuse("no-reading"))
    bands: dict[str, Band] = {
        rate: Band(band.low, band.high, appliance.source(band.page)) for rate, band in sheets.fuel.co2.items()
    }
    between = sheets.fuel.between_rates
    task = adv.Task(
        bands=bands,
        adjusters={rate: adv.Adjuster(one.richer, one.most_eighths) for rate, one in appliance.adjusters.items()},
        between=None if between is None else Band(between.low, between.high, appliance.source(between.page)),
    )
    blocked = _blocked(plan, state, gate)
    step = adv.advise(gate.rate, current, task, moves, [reason for reason, _ in blocked])
    if isinstance(step, adv.Refusal):
        spoken = catalogue.refuse(blocked[0][1]) if step.why == "blocked" else _refusal(plan, step)
        return TurnAdvice(adjuster.said, None, 0, step.reason, spoken)
    return TurnAdvice(adjuster.said, step.direction, step.eighths, step.reason)


def _refusal(plan: Plan, refusal: adv.Refusal) -> str:
    """Return a refusal as it is said."""
    about = refusal.about
    if isinstance(about, str):
        return plan.catalogue.refuse(refusal.why, rate=plan.catalogue.rates[about][0] if about else "", value="")
    return plan.catalogue.refuse(refusal.why, value=plan.numbers.digits(about), count=f"{about}")


def _blocked(plan: Plan, state: State, gate: Turning) -> list[tuple[str, str]]:
    """Return what forbids any turn now: for the record, and the name of what is said."""
    blocked: list[tuple[str, str]] = []
    sets = state.readings(gate.using)
    if sets:
        last = sets[-1].values
        blocked += [
            (f"{stop.name} {stop.value}", "stop-open") for stop in stops_open(plan.sheets, last, may_adjust=False)
        ]
    if state.doubted(gate.using):
        blocked.append(("CO2 and O2 do not fit", "pair"))
    outcomes = [
        state.verdicts[gate_id]
        for gate_id, placed in plan.procedure.gates.items()
        if gate_id in state.verdicts and getattr(placed.gate, "calculation", "") == "supply-pressure"
    ]
    if outcomes and outcomes[-1] == "outside":
        blocked.append(("gas pressure is outside the plate", "pressure"))
    return blocked


def rate_of(plan: Plan, kept_at: str) -> str | None:
    """Return the rate at which readings under a name are taken."""
    for placed in plan.procedure.gates.values():
        effects = placed.gate.effects
        if effects.kept_at == kept_at and not effects.measures:
            return effects.rate
    return None


def _learned(plan: Plan, state: State) -> tuple[dict[str, Decimal], list[adv.Move]]:
    """Return the value at each rate read since the last move, and what each move did where that is known."""
    latest: dict[str, Decimal] = {}
    fresh: dict[str, Decimal] = {}
    turned: dict[str, dict[str, int]] = {}
    moves: list[adv.Move] = []
    for learned in state.history:
        if isinstance(learned, AdjusterTurned):
            signed = learned.eighths if learned.direction == "clockwise" else -learned.eighths
            for rate in latest:
                of_rate = turned.setdefault(rate, {})
                of_rate[learned.rate] = of_rate.get(learned.rate, 0) + signed
            fresh = {}
            continue
        at_rate = rate_of(plan, learned.kept_at)
        if at_rate is None or learned.quantity != "co2":
            continue
        value = learned.value
        since = turned.pop(at_rate, {})
        if at_rate in latest and len(since) == 1:
            ((adjuster, eighths_turned),) = since.items()
            if eighths_turned:
                moves.append(adv.Move(adjuster, eighths_turned, at_rate, latest[at_rate], value))
        latest[at_rate] = fresh[at_rate] = value
    return fresh, moves
