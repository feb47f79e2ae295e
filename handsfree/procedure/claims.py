"""What a procedure says it is for: each claim held against the gates that are to show it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from handsfree.documents import Document, Place
from handsfree.gates.kind import Effects
from handsfree.procedure.file import Claim, ProcedureFile
from handsfree.procedure.targets import need


def claims(file: ProcedureFile, gates: Mapping[str, Effects], document: Document) -> Iterator[tuple[int, Claim]]:
    """Yield the claims with the numbers they are written under, one for every item of an `each` that shows it.

    Refuses a claim by a gate that is none, or that only reads: the verdict that judges it shows more.
    """
    for number, claim in enumerate(file.proves):
        named = [
            _gates_named(gate_id, gates, document.place(("proves", number, "by", at)))
            for at, gate_id in enumerate(claim.by)
        ]
        items = list(dict.fromkeys(item for one in named for item in one))
        for item in items:
            by = tuple(one[item] for one in named if item in one)
            says = f"{claim.says}, {item.replace('-', ' ')}" if item else claim.says
            yield number, claim.model_copy(update={"says": says, "by": by})


def _gates_named(path: str, gates: Mapping[str, Effects], place: Place) -> dict[str, str]:
    """Return item -> the gate that a claim names; the item is empty where it names one gate."""
    wanted = re.compile(re.escape(path).replace(re.escape("*"), "([a-z0-9-]+)"))
    found = {"/".join(match.groups()): gate_id for gate_id in gates if (match := wanted.fullmatch(gate_id))}
    need(found, f"there is no gate {path!r}", place, "name a gate, with its prefix")
    for gate_id in found.values():
        effects = gates[gate_id]
        need(
            not effects.kept_at and effects.end is None,
            f"{gate_id} {'only reads' if effects.kept_at else 'is an end'}, which proves nothing",
            place,
            "name the verdict that judges it, or a step that is done",
        )
    return found


def refuse_unknown_orders(file: ProcedureFile, gates: Mapping[str, Effects], document: Document) -> None:
    """Raise Problem at a gate of a declared order that is none, or that stands there twice."""
    for number, order in enumerate(file.in_order):
        for at, gate_id in enumerate(order):
            place = document.place(("in_order", number, at))
            need(gate_id in gates, f"there is no gate {gate_id!r}", place, "name a gate, with its prefix")
            need(order.count(gate_id) == 1, f"{gate_id!r} stands twice in one order", place, "name it once")
