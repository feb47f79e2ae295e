"""What is proven of verdicts and readings: outcomes all led on, inputs that can be there, units that agree."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.gates.visit import Judging, Turning
from handsfree.lexicon.catalogue import Catalogue
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.monitors import NONE, PointMonitor, VerdictMonitor
from handsfree.procedure.proofs.search import UNOPENED, ProofFault, Violation, explore, violations
from handsfree.trades.calculation import Calculation
from handsfree.trades.trade import Trade

KeptAt = dict[str, dict[str, list[PlacedGate]]]
"""Name under which readings are kept -> quantity -> the gates that keep it there."""


def kept_quantities(procedure: Procedure) -> KeptAt:
    """Return name under which readings are kept -> quantity -> the gates that keep it there."""
    kept: KeptAt = {}
    for placed in procedure.gates.values():
        effects = placed.gate.effects
        for quantity in (*(ask.quantity for ask in effects.asks), *effects.measures):
            kept.setdefault(effects.kept_at, {}).setdefault(quantity, []).append(placed)
    return kept


def wrong_branches(procedure: Procedure) -> Iterator[Violation]:
    """Yield verdicts whose branches or inputs are not those of their calculation."""
    kept, trade = kept_quantities(procedure), procedure.trade.functions
    for placed in procedure.gates.values():
        effects = placed.gate.effects
        if effects.judges:
            calculation = trade.calculations.get(effects.judges.calculation)
            if calculation is None:
                what = f"there is no calculation {effects.judges.calculation!r}"
                fault = ProofFault("branches", what, f"known: {', '.join(trade.calculations)}", ("calculation",))
                yield Violation(placed.id, fault, ())
                continue
            branches = [outcome for outcome in placed.transitions if outcome not in UNOPENED]
            taken = frozenset(procedure.file.readings)
            for what, remedy, path in _branch_faults(
                effects.judges, branches, calculation, kept, trade, taken=taken
            ):
                yield Violation(placed.id, ProofFault("branches", f"{placed.id}: {what}", remedy, path), ())
        elif effects.turns:
            for what, remedy, path in _adjust_faults(effects.turns, kept, trade):
                yield Violation(placed.id, ProofFault("branches", f"{placed.id}: {what}", remedy, path), ())


_Told = Iterator[tuple[str, str, tuple[str | int, ...]]]


def _branch_faults(
    gate: Judging,
    branches: list[str],
    calculation: Calculation,
    kept: KeptAt,
    trade: Trade,
    *,
    taken: frozenset[str],
) -> _Told:
    outcomes = calculation.outcomes_by(gate.limits)
    for outcome in outcomes:
        if outcome not in branches:
            yield f"the outcome {outcome!r} of {gate.calculation} leads nowhere", "add the branch", ("branches",)
    for branch in branches:
        if branch not in outcomes and branch not in calculation.outcomes:  # one for when an accuracy is added
            yield f"{gate.calculation} never answers {branch!r}", "remove the branch", ("branches", branch)
    if calculation.rate and gate.rate is None:
        yield f"{gate.calculation} judges at a rate", "name the rate", ("calculation",)
    yield from _limit_faults(gate, calculation)
    for name in calculation.inputs:
        if name not in gate.using:
            yield f"{gate.calculation} needs the input {name!r}", "add it under using", ("using",)
    yield from _input_faults(gate, calculation, kept, trade, taken=taken)


def _limit_faults(gate: Judging, calculation: Calculation) -> _Told:
    """Yield that limits stand where none are taken, or lack, or are in another unit than what they judge."""
    if calculation.limits != (gate.limits is not None):
        says = (
            "judges against limits written in the gate"
            if calculation.limits
            else "takes its limits from the sheets"
        )
        yield f"{gate.calculation} {says}", "add or remove `limits`", ("limits",)
    if calculation.limits and gate.limits is not None and gate.limits.unit != calculation.unit:
        if calculation.unit is None:
            what, remedy = f"{gate.calculation} judges a reading", "name its quantity in place of a unit"
        else:
            given = "the unit of a quantity" if gate.limits.unit is None else gate.limits.unit
            what = f"{gate.calculation} comes in {calculation.unit}, and its limits are in {given}"
            remedy = f"write `unit: {calculation.unit}` and the limits in it, without a quantity"
        yield what, remedy, ("limits",)


def _input_faults(
    gate: Judging, calculation: Calculation, kept: KeptAt, trade: Trade, *, taken: frozenset[str]
) -> _Told:
    for name, at in gate.using.items():
        if name not in calculation.inputs:
            yield f"{gate.calculation} has no input {name!r}", "remove it", ("using", name)
            continue
        for quantity in calculation.reads(name, gate.limits):
            if missing := _not_asking(kept.get(at, {}), quantity):
                yield f"{missing.id} keeps readings under {at!r} without {quantity}", "ask for it there too", ()
                break
            takers = kept.get(at, {}).get(quantity) or kept.get(at, {}).get(trade.other_units.get(quantity, ""))
            if not takers:
                if at not in taken:
                    yield f"no gate keeps {quantity} under {at!r}", "ask for it there", ("using", name)
            elif other := _other_rate(gate.rate or _rate_of(name), takers):
                yield (
                    f"it judges {at!r}, which {other.id} reads at the other rate",
                    "name the right rate",
                    ("using",),
                )
                break


def _not_asking(kept: dict[str, list[PlacedGate]], quantity: str) -> PlacedGate | None:
    """Return a gate that keeps something under the name, where another keeps the quantity, but not this one."""
    takers = kept.get(quantity, [])
    others = (placed for gates in kept.values() for placed in gates)
    return next((placed for placed in others if takers and placed not in takers), None)


def _rate_of(name: str) -> str | None:
    return name if name in {"maximum", "minimum"} else None


def _other_rate(rate: str | None, takers: list[PlacedGate]) -> PlacedGate | None:
    for taker in takers:
        taken_at = taker.gate.effects.rate
        if rate is not None and taken_at is not None and taken_at != rate:
            return taker
    return None


def _adjust_faults(gate: Turning, kept: KeptAt, trade: Trade) -> _Told:
    for quantity in sorted(trade.adjusting.needs):
        takers = kept.get(gate.using, {}).get(quantity)
        if not takers:
            yield f"no gate keeps {quantity} under {gate.using!r}", "ask for it there", ("using",)
        elif other := _other_rate(gate.rate, takers):
            yield (
                f"it turns on {gate.using!r}, which {other.id} reads at the other rate",
                "name the right rate",
                (),
            )
            break
    for name in gate.voids:
        if name not in kept:
            yield f"no gate keeps readings under {name!r}", "correct the name", ("voids",)


def point_monitors(procedure: Procedure) -> Iterator[PointMonitor]:
    """Yield a monitor for each measurement point that a verdict or an adjuster uses."""
    kept, trade = kept_quantities(procedure), procedure.trade.functions
    used: dict[str, None] = {}
    for placed in procedure.gates.values():
        effects = placed.gate.effects
        if effects.judges:
            used |= dict.fromkeys(effects.judges.using.values())
        elif effects.turns:
            used[effects.turns.using] = None
    for name in used:
        if name in kept:
            moved = not trade.adjusting.needs.isdisjoint(kept[name])
            yield PointMonitor(name, moved, trade.calculations)


def reading_faults(procedure: Procedure) -> Iterator[Violation]:
    """Yield stale readings judged, turns without a reason, and verdicts whose readings are never there."""
    for monitor in point_monitors(procedure):
        seen = explore(procedure, monitor)
        yield from violations(procedure, monitor, seen)
        for gate_id, placed in procedure.gates.items():
            judging = placed.gate.effects.judges
            uses = judging is not None and monitor.name in judging.using.values()
            if uses and seen.states.get(gate_id) == {NONE}:
                what = f"{gate_id}: {monitor.name!r} is never taken before it, so only `missing` is left"
                fault = ProofFault(
                    "branches", what, "take the readings on the way, or correct the name", ("using",)
                )
                yield Violation(gate_id, fault, ())


def verdict_faults(procedure: Procedure) -> Iterator[Violation]:
    """Yield finishes and turns that leave a bad verdict behind."""
    calculations = procedure.trade.functions.calculations
    keys = {placed.limit_key: None for placed in procedure.gates.values()}
    if any(placed.gate.effects.turns for placed in procedure.gates.values()):
        keys |= {(name, None): None for name, calculation in calculations.items() if calculation.before_turns}
    for key in keys:
        if key is not None and key[0] in calculations:
            yield from violations(procedure, VerdictMonitor(key, calculations[key[0]]))


def wrong_units(procedure: Procedure, catalogue: Catalogue) -> Iterator[Violation]:
    """Yield readings kept under one name in two units, units nobody can say, and settings of unknown quantity."""
    units: dict[tuple[str, str], str] = {}
    other_units = procedure.trade.functions.other_units
    for placed in procedure.gates.values():
        effects = placed.gate.effects
        for ask, path in zip(effects.asks, effects.asked_at, strict=True):
            quantity = catalogue.quantities.get(ask.quantity)
            if quantity is None:
                continue
            if quantity.unit not in catalogue.units:
                fault = ProofFault(
                    "units", f"the unit {quantity.unit!r} cannot be said", "add it to the words", path
                )
                yield Violation(placed.id, fault, ())
            at = effects.kept_at
            family = other_units.get(ask.quantity, ask.quantity)
            known = units.setdefault((at, family), quantity.unit)
            if known != quantity.unit:
                what = f"{placed.id} keeps {ask.quantity} under {at!r} in {quantity.unit}, another gate in {known}"
                yield Violation(placed.id, ProofFault("units", what, "use one unit", path), ())
        if effects.captures:
            value, read = procedure.things[effects.captures].value, effects.asks[0].quantity
            if value != read:
                what = f"{placed.id} reads {read} for {effects.captures}, whose setting is {value}"
                yield Violation(
                    placed.id, ProofFault("units", what, "ask for the thing's quantity", ("captures",)), ()
                )
