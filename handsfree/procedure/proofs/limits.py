"""What is proven of written limits and orders, and what is remarked of readings and things nothing hangs on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from handsfree.documents import Place
from handsfree.gates.block import Limits
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.search import Monitor, ProofFault, Violation


def without_effect(procedure: Procedure) -> Iterator[Violation]:
    """Yield limits that no value which can be called meets, or that none misses."""
    for placed, quantity, limits, place in _each(procedure):
        known = procedure.catalogue.quantities.get(quantity)
        if known is None:
            continue
        low, high = _callable_span(procedure, placed, quantity, known.low, known.high)
        met = (limits.low is None or limits.low <= high) and (limits.high is None or limits.high >= low)
        missed = (limits.low is not None and limits.low > low) or (limits.high is not None and limits.high < high)
        if not met or not missed:
            what = f"{placed.id}: every {quantity} that can be called, {low} to {high}, "
            what += "misses its limits" if not met else "keeps its limits"
            fault = ProofFault("limits", what, "correct the limits, or what may be called", ("limits",))
            yield Violation(placed.id, fault, (), place=place)


def judged_twice(procedure: Procedure) -> Iterator[Violation]:
    """Yield verdicts that judge a quantity of one measurement point by other limits than another one does."""
    first: dict[tuple[str, str], tuple[PlacedGate, Limits]] = {}
    for placed, quantity, limits in _limits(procedure):
        judges = placed.gate.effects.judges
        for point in () if judges is None else judges.using.values():
            other, known = first.setdefault((point, quantity), (placed, limits))
            if known.model_copy(update={"source": limits.source}) != limits:
                what = f"{placed.id} judges {quantity} at {point!r} by other limits than {other.id}"
                fault = ProofFault("one-limit", what, "give both the same limits", ("limits",))
                yield Violation(placed.id, fault, ())


def _limits(procedure: Procedure) -> Iterator[tuple[PlacedGate, str, Limits]]:
    """Yield each verdict on a reading by limits of its own, and the quantity."""
    for placed in procedure.gates.values():
        judges = placed.gate.effects.judges
        if judges is not None and judges.limits is not None and judges.limits.quantity is not None:
            yield placed, judges.limits.quantity, judges.limits


def _each(procedure: Procedure) -> Iterator[tuple[PlacedGate, str, Limits, Place | None]]:
    """Yield what `_limits` does, of a table each row with its place."""
    for placed, quantity, limits in _limits(procedure):
        if limits.rows is None:
            yield placed, quantity, limits, None
            continue
        document = procedure.tables[limits.rows.table]
        for number, row in limits.each_row():
            yield placed, quantity, row, document.place(("rows", number))


def _callable_span(
    procedure: Procedure, verdict: PlacedGate, quantity: str, low: Decimal, high: Decimal
) -> tuple[Decimal, Decimal]:
    """Return the least and the greatest value that the gates read by a verdict let be called."""
    judges = verdict.gate.effects.judges
    points = set() if judges is None else set(judges.using.values())
    asks = [
        ask
        for placed in procedure.gates.values()
        if placed.gate.effects.kept_at in points
        for ask in placed.gate.effects.asks
        if ask.quantity == quantity
    ]
    lows = [low if ask.low is None else ask.low for ask in asks] or [low]
    highs = [high if ask.high is None else ask.high for ask in asks] or [high]
    return min(lows), max(highs)


@dataclass(frozen=True)
class OrderMonitor(Monitor):
    """Whether the gates of a declared order are come to in that order: the number of the last one left."""

    gates: tuple[str, ...]
    start: Any = -1

    def leave(self, placed: PlacedGate, outcome: str, state: Any) -> Any:
        """Follow the gates of the order."""
        del outcome
        return self.gates.index(placed.id) if placed.id in self.gates else state

    def passed_over(self, placed: PlacedGate, state: Any) -> Any:
        """Count a gate that is not asked as come to."""
        return self.leave(placed, "", self.opened(placed, state))

    def enter(self, placed: PlacedGate, state: Any) -> tuple[ProofFault, ...]:
        """Hold a gate that is come to before the one it follows against the procedure."""
        number = self.gates.index(placed.id) if placed.id in self.gates else 0
        if number <= state + 1:
            return ()
        what = f"{placed.id} is come to before {self.gates[state + 1]}, which stands before it under in_order"
        return (ProofFault("in-order", what, "lead there in the order that is declared"),)

    def opened(self, placed: PlacedGate, state: Any) -> Any:
        """Take it as told."""
        return max(state, self.gates.index(placed.id) - 1) if placed.id in self.gates else state


def remarks(procedure: Procedure) -> Iterator[str]:
    """Yield what nothing hangs on: readings that are neither judged nor only recorded, things nobody alters."""
    if not procedure.file.exits:  # of a part, whoever includes it may judge or alter
        yield from _unjudged(procedure)
        altered = {name for placed in procedure.gates.values() for name in placed.gate.effects.alters}
        idle = [name for name in procedure.things if name not in {*altered, *procedure.file.begins}]
        for name in idle:
            needed = any(name in placed.gate.needs for placed in procedure.gates.values())
            yield f"no gate alters {name}, {'so what needs it is always met' if needed else 'so it says nothing'}"
    yield from _never_missed(procedure)


def _unjudged(procedure: Procedure) -> Iterator[str]:
    judged = set(_judged(procedure))
    for placed in procedure.gates.values():
        effects = placed.gate.effects
        left = [ask.quantity for ask in effects.asks if (effects.kept_at, ask.quantity) not in judged]
        if left and effects.captures is None and not effects.only_recorded:
            names = ", ".join(left)
            yield f"{placed.id} reads {names}, which nothing judges; say so by only_recorded: true, or judge it"


def _judged(procedure: Procedure) -> Iterator[tuple[str, str]]:
    trade = procedure.trade.functions
    for placed in procedure.gates.values():
        judges, turns = placed.gate.effects.judges, placed.gate.effects.turns
        if turns is not None:
            yield from ((turns.using, quantity) for quantity in trade.adjusting.needs)
        calculation = None if judges is None else trade.calculations.get(judges.calculation)
        if judges is None or calculation is None:
            continue
        for name, point in judges.using.items():
            if name in calculation.inputs:
                for quantity in calculation.reads(name, judges.limits):
                    yield point, quantity
                    yield point, trade.other_units.get(quantity, quantity)


def _never_missed(procedure: Procedure) -> Iterator[str]:
    """Yield limits that the trade's usual and unusual values all meet, or all miss."""
    for placed, quantity, limits, _ in _each(procedure):
        facts = procedure.trade.quantities.get(quantity)
        if facts is None or not facts.unusual:
            continue
        values = (facts.usual, *facts.unusual)
        within = {_within(value, limits) for value in values}
        if len(within) == 1:
            how = "keeps" if True in within else "misses"
            yield (
                f"{placed.id}: whatever the trade calls usual or unusual of {quantity} {how} its limits; "
                "is the unit right?"
            )


def _within(value: Decimal, limits: Limits) -> bool:
    return (limits.low is None or value >= limits.low) and (limits.high is None or value <= limits.high)
