"""Advice for one turn: what the visit has learned so far, the maker's adjuster map, and what forbids a turn."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import assert_never

from handsfree.events.decisions import Direction
from handsfree.events.state import AdjusterTurned, Learned, OpenTurn, State, ValueKept
from handsfree.gates.visit import TurnAdvice, Turning
from handsfree.measurement import advice as adv
from handsfree.procedure.procedure import PlacedGate
from handsfree.questions import Question
from handsfree.questions.turn import Turn
from handsfree.questions.turn_watch import TurnWatch
from handsfree.questions.which_screw import WhichScrew
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


def unlike(plan: Plan, turn: OpenTurn, direction: Direction, eighths: int) -> str:
    """Return how a called turn differs from what was advised, or from what is to be undone; "" when it does not.

    Less than was asked for, the same way, is within it: so is no turn, where nothing is to be undone.
    """
    if not eighths:
        return "not undone" if turn.owed else ""
    asked_way, most = (turn.direction, turn.eighths) if not turn.owed else undoing(turn)
    if not turn.owed and turn.screw != turn.rate:
        return "on the other screw"
    if direction != asked_way:
        return "the other way"
    if eighths <= most:
        return ""
    adjuster = plan.trade.adjusting.task(plan.sheets).adjusters.get(turn.rate)
    if turn.owed or adjuster is None or eighths <= adjuster.most_eighths:
        return "further than asked for"
    return f"further than the {adjuster.most_eighths} eighths that the maker allows at a time"


def undoing(turn: OpenTurn) -> tuple[Direction, int]:
    """Return which way and how far an adjuster must be turned to be back where it was."""
    return ("counter-clockwise" if turn.owed > 0 else "clockwise"), abs(turn.owed)


def other_screw(plan: Plan, turn: OpenTurn) -> str:
    """Return the rate of the other adjuster; "" when the sheet does not name exactly one other."""
    others = [rate for rate in plan.trade.adjusting.adjusters(plan.sheets) if rate != turn.rate]
    return others[0] if len(others) == 1 else ""


def question_of_turn(plan: Plan, state: State) -> tuple[Question, str]:
    """Return what is asked next about the turn that is open: what was turned, what it did, where, its undoing."""
    turn, catalogue, adjusting = state.turn, plan.catalogue, plan.trade.adjusting
    assert turn is not None
    if not turn.owed:
        name = "turn-before" if _old(plan, state, turn) else "turn-called"
        return Turn(direction=turn.direction, eighths=turn.eighths), catalogue.say(name)
    fires = plan.gate(state.gate).gate.firing and not state.owed  # what must be lit again is off
    if adjusting.watched and not turn.watched and fires:
        asked = catalogue.say("ask-for", what=plan.name(adjusting.watched))
        return TurnWatch(quantity=adjusting.watched), asked
    adjusters = adjusting.adjusters(plan.sheets)
    if len(adjusters) > 1 and not turn.named:
        screws = ", ".join(catalogue.rates[rate][0] for rate in adjusters)
        return WhichScrew(), catalogue.say("which-screw", screws=screws)
    direction, owed = undoing(turn)
    eighths = max(size for size in catalogue.turns if size <= owed)
    far = {"direction": catalogue.say(direction), "turn": catalogue.far(eighths)}
    adjuster = adjusters.get(turn.screw, "")
    text = catalogue.say("undo", **far)
    if adjuster and turn.screw != turn.rate:
        text = catalogue.say("undo-at", adjuster=adjuster, **far)
    return Turn(direction=direction, eighths=eighths), text


def _old(plan: Plan, state: State, turn: OpenTurn) -> bool:
    """Say whether a turn was advised by what was read before a long pause: nobody is to make it now."""
    turning = plan.gate(turn.gate).gate.effects.turns
    taken = () if turning is None else state.readings(turning.using)
    return bool(taken) and taken[-1].at < state.old_before


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


def _learned(plan: Plan, history: Iterable[Learned]) -> tuple[dict[str, Decimal], list[adv.AdjusterMove]]:
    """Return the value at each rate read since the last move, and what each move did where that is known."""
    latest: dict[str, Decimal] = {}
    fresh: dict[str, Decimal] = {}
    turned: dict[str, dict[str, int]] = {}
    moves: list[adv.AdjusterMove] = []
    for one in history:
        match one:
            case AdjusterTurned():
                signed = one.eighths if one.direction == "clockwise" else -one.eighths
                for rate in latest:
                    of_rate = turned.setdefault(rate, {})
                    of_rate[one.rate] = of_rate.get(one.rate, 0) + signed
                fresh = {}
            case ValueKept():
                at_rate = plan.rates.get(one.kept_at)
                if at_rate is None or one.quantity != plan.trade.adjusting.follows:
                    continue
                since = turned.pop(at_rate, {})
                moved = {adjuster: net for adjuster, net in since.items() if net}
                if at_rate in latest and len(moved) == 1:
                    ((adjuster, net),) = moved.items()
                    moves.append(adv.AdjusterMove(adjuster, net, at_rate, latest[at_rate], one.value))
                latest[at_rate] = fresh[at_rate] = one.value
            case _:
                assert_never(one)
    return fresh, moves
