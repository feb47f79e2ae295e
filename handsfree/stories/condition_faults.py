"""Faults planted into conditions: one stands no more, asks for another value, or takes one value less."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from handsfree.documents import Document, Path_
from handsfree.gates.when import NOT_GIVEN, is_fact
from handsfree.problem import Problem
from handsfree.procedure.branching import facts_with_choices
from handsfree.procedure.trades import trade_data_asked
from handsfree.trades import DEFAULT_TRADE


def in_conditions(
    gate: Mapping[str, Any], document: Document, gone: object
) -> Iterator[tuple[str, Path_, str, Any]]:
    """Yield each fault in the conditions of a gate: operator, path, what, value; `gone` takes a key away."""
    when = gate.get("when")
    for decider, written in when.items() if isinstance(when, dict) else ():
        values = written if isinstance(written, list) else [written]
        for other in _other_values(decider, document):
            if other not in values:
                yield "other condition", ("when", decider), f"{decider} {other}", other
        for value in values if len(values) > 1 else ():
            left = [one for one in values if one != value]
            yield "other condition", ("when", decider), f"{decider} without {value}", left
        if len(when or ()) > 1:
            yield "other condition", ("when", decider), f"{decider} left out", gone
    if isinstance(when, dict) and when and gate.get("kind") != "include" and gate.get("otherwise") is None:
        yield "other condition", ("when",), "left out", gone


def _other_values(decider: str, document: Document) -> list[str]:
    content = document.content
    if is_fact(decider):
        trade, near = str(content.get("trade", DEFAULT_TRADE)), Path(document.file).parent
        try:
            known = facts_with_choices(trade_data_asked(trade, None, near).sheets)
        except Problem:
            return []
        return [one for one in known.get(decider, ()) if one != NOT_GIVEN]
    asked = [gate.get("answers") for gate in content.get("gates", ()) if gate.get("id") == decider]
    return list(asked[0]) if asked and asked[0] else []
