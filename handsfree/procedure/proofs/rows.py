"""What is proven of tables of limits: no row lies idle, and all are in the unit of what they judge."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from handsfree.gates.table import LimitsTable
from handsfree.procedure.branching import may_open, table_of
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.deciders import at_first
from handsfree.procedure.proofs.search import Guard, Monitor, ProofFault, Violation, explore


def row_faults(procedure: Procedure) -> Iterator[Violation]:
    """Yield tables in another unit than what a verdict judges by them, and rows that no visit reads.

    A part leaves rows to the procedures that put it in.
    """
    reading: dict[str, list[tuple[PlacedGate, LimitsTable]]] = {}
    for placed in procedure.gates.values():
        table = table_of(placed)
        if table is not None:
            reading.setdefault(table.table, []).append((placed, table))
            yield from _other_unit(procedure, placed, table)
    for name, gates in () if procedure.file.exits else reading.items():
        table, document = gates[0][1], procedure.tables[name]
        read = {number for placed, _ in gates for number in _read(procedure, placed, table)}
        for number in range(len(table.rows)):
            if number not in read:
                fault = ProofFault("rows", f"no visit reads this row of {name}", "remove it, or read it")
                yield Violation(gates[0][0].id, fault, (), place=document.place(("rows", number)))


def _other_unit(procedure: Procedure, placed: PlacedGate, table: LimitsTable) -> Iterator[Violation]:
    judges = placed.gate.effects.judges
    calculation = None if judges is None else procedure.trade.functions.calculations.get(judges.calculation)
    if judges is None or judges.limits is None or calculation is None:
        return
    facts = procedure.trade.quantities.get(judges.limits.quantity or "")
    unit = calculation.unit if facts is None else facts.unit
    if unit is not None and unit != table.unit:
        judged = judges.limits.quantity or judges.calculation
        what = f"{placed.id} judges {judged} in {unit}, and the table {table.table} is in {table.unit}"
        place = procedure.tables[table.table].place(("unit",))
        yield Violation(placed.id, ProofFault("rows", what, f"write the table in {unit}"), (), place=place)


def _read(procedure: Procedure, placed: PlacedGate, table: LimitsTable) -> set[int]:
    """Return the rows that a verdict reads on some visit, each combination of the table's facts gone through."""
    judges = placed.gate.effects.judges
    assert judges is not None
    assert judges.limits is not None
    guard = Guard(deciding=table.facts)
    seen = explore(procedure, Monitor(), guard)
    known = [guard.known(exact) for gate_id, _, exact in seen.parents if gate_id == placed.id]
    if not seen.complete:  # too many to go through: then every combination counts
        values = product(*(at_first(procedure, fact) for fact in table.facts))
        known = [dict(zip(table.facts, one, strict=True)) for one in values]
    return {
        number
        for facts in known
        if may_open(placed, facts)
        for number, _ in table.rows_of({**facts, **judges.limits.at})
    }


__all__ = ["row_faults"]
