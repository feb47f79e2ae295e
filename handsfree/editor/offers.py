"""What may be written at the cursor: keys, kinds, names that the file or its trade knows, and where to lead."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from handsfree.documents import Document, read_document
from handsfree.editor.cursor import Cursor, cursor_at
from handsfree.editor.known import KnownNames
from handsfree.editor.shape import below, keys_of, patterns_of, values_of
from handsfree.gates import GATE_KINDS
from handsfree.gates.when import NOT_GIVEN
from handsfree.procedure.documentation import summary_of
from handsfree.procedure.file import NEXT_ITEM, IncludeGate
from handsfree.procedure.trades import own_trades

TARGET, ITEM_TARGET = (
    r"^(exit )?[a-z][a-z0-9]*(-[a-z0-9]+)*$",
    r"^(next item|(exit )?[a-z][a-z0-9]*(-[a-z0-9]+)*)$",
)


@dataclass(frozen=True)
class CompletionOffer:
    """One thing that may be written."""

    text: str
    says: str
    sort: Literal["key", "value", "name", "target"]


def offers(
    text: str, line: int, column: int, folder: Path, read: Callable[[Path], Document] = read_document
) -> list[CompletionOffer]:
    """Return what may be written at a place of a procedure's text, line and column counted from 0.

    `folder` is where the file stands, and `read` gives the files beside it.
    """
    cursor = cursor_at(text, line, column)
    if cursor is None or not isinstance(cursor.content, dict):
        return []
    known = KnownNames(cursor.content, folder, read)
    found = (
        list(_keys(cursor, known)) if cursor.is_key else [*_values(cursor, known), *_keys_of_none(cursor, known)]
    )
    return list({offer.text: offer for offer in found}.values())


def _keys_of_none(cursor: Cursor, known: KnownNames) -> Iterator[CompletionOffer]:
    """Yield keys where a value may be a block that has none yet."""
    yield from _keys(Cursor(cursor.path, is_key=True, content=cursor.content, word=cursor.word), known)


def _keys(cursor: Cursor, known: KnownNames) -> Iterator[CompletionOffer]:
    block = at(cursor.content, cursor.path)
    there = set(block) if isinstance(block, dict) else set()
    for key, says in keys_of(cursor.content, cursor.path).items():
        if key not in there:
            yield CompletionOffer(key, says, "key")
    for key, says in names_of_keys(cursor, known).items():
        if key not in there:
            yield CompletionOffer(key, says, "name")


def names_of_keys(cursor: Cursor, known: KnownNames) -> Mapping[str, str]:
    """Return the keys of a block that the language does not list: outcomes, inputs, things, exits."""
    gate, field = gate_at(cursor), cursor.path[-1:] and cursor.path[-1]
    calculation = known.calculations.get(str(gate.get("calculation")))
    if field == "branches" and calculation is not None:
        return dict.fromkeys(calculation.outcomes, f"an outcome of {gate['calculation']}")
    if field == "branches" and gate.get("kind") == "branch":
        choices = [one for one in known.choices().get(str(gate.get("fact")), ()) if one != NOT_GIVEN]
        return dict.fromkeys(choices, f"a choice of {gate.get('fact')}")
    if field == "using" and calculation is not None:
        return {name: f"reads {', '.join(of) or 'what `limits` name'}" for name, of in calculation.inputs.items()}
    if field == "when":
        return {**_facts(known), **known.gates}
    if field in {"needs", "begins"}:
        return {name: said_of(thing) for name, thing in known.things().items()}
    return _keys_of_part(field, known.part(gate.get("file")))


def _facts(known: KnownNames) -> Mapping[str, str]:
    return {name: f"one of: {', '.join(values)}" for name, values in known.choices().items()}


def _keys_of_part(field: object, part: Mapping[str, Any]) -> Mapping[str, str]:
    if field == "exits":
        return dict.fromkeys(map(str, part.get("exits") or ()), "an exit of the part")
    given = part.get("parameters") if field == "parameters" else None
    return {str(name): f"by default {value}" for name, value in (given or {}).items()}


def _values(cursor: Cursor, known: KnownNames) -> Iterator[CompletionOffer]:
    if cursor.path[-1:] == ("kind",):
        for kind in (*GATE_KINDS, IncludeGate):
            yield CompletionOffer(*summary_of(kind), "value")
        return
    names = names_at(cursor, known)
    listed = values_of(cursor.content, cursor.path)
    if cursor.path[-1:] == ("quantity",):  # the language lists those of every trade
        listed = []
    yield from (CompletionOffer(one, "", "value") for one in listed)
    yield from (CompletionOffer(name, says, "name") for name, says in names.items())
    patterns = patterns_of(cursor.content, cursor.path)
    if patterns & {TARGET, ITEM_TARGET}:
        yield from (CompletionOffer(name, says, "target") for name, says in known.targets().items())
    if ITEM_TARGET in patterns and gate_at(cursor).get("each"):
        yield CompletionOffer(NEXT_ITEM, "the next of `each`; after the last, `then`", "target")
    if cursor.path[:1] == ("gates",) and cursor.path[2:] != ("id",):
        yield from (CompletionOffer(name, says, "name") for name, says in known.parameters().items())


def names_at(cursor: Cursor, known: KnownNames) -> Mapping[str, str]:
    """Return the names that a value may be: of the trade, of things and points, of gates and facts."""
    path = cursor.path
    field = next((part for part in reversed(path) if isinstance(part, str)), "")
    in_gate, of = bool(gate_at(cursor)), path[-2:-1]
    if field == "quantity" or (path[:1] == ("things",) and field == "value"):
        return {name: known.quantity(name) for name in known.trade.quantities}
    if field in {"alters", "restores", "captures"} or (in_gate and field == "things"):
        return {name: said_of(thing) for name, thing in known.things().items()}
    if of in {("needs",), ("begins",)}:
        thing = known.things().get(field, {})
        return {str(thing[key]): key for key in ("altered", "restored") if key in thing}
    if of == ("using",) or field in {"using", "voids"}:
        return known.points()
    if field in {"proves", "by", "in_order"} or (in_gate and field == "answer"):
        return known.gates
    return _of_when(path, known) or (_LISTED[field](known) if field in _LISTED else {})


def _of_when(path: tuple[str | int, ...], known: KnownNames) -> Mapping[str, str]:
    """Return the values that a condition of a gate may name."""
    if path[:1] != ("gates",) or path[2:3] != ("when",) or len(path) < 4:
        return {}
    decider = str(path[3])
    values = known.choices().get(decider) or (known.outcomes(decider) if decider in known.gates else ())
    return dict.fromkeys(values, f"a value of {decider}")


_LISTED: Mapping[str, Callable[[KnownNames], Mapping[str, str]]] = {
    "calculation": lambda known: {name: one.says for name, one in known.calculations.items()},
    "hazard": lambda known: dict.fromkeys(known.trade.stops.stops, "a stop of the trade"),
    "fact": _facts,
    "trade": lambda known: dict.fromkeys(own_trades(known.folder), "a trade of your own"),
    "jobsheet": lambda known: known.facts(),
    "file": lambda known: known.parts_beside(),
}
"""Fields that name something of the trade, of a sheet or of the folder."""


def said_of(thing: Mapping[str, Any]) -> str:
    """Return a thing in a line."""
    return f"{thing.get('said', '')}: {thing.get('altered', '')}, put back {thing.get('restored', '')}"


def gate_at(cursor: Cursor) -> Mapping[str, Any]:
    """Return the block of the gate that the cursor stands in; empty outside."""
    gate = at(cursor.content, cursor.path[:2]) if cursor.path[:1] == ("gates",) else None
    return gate if isinstance(gate, dict) else {}


def at(content: Any, path: tuple[str | int, ...]) -> Any:
    """Return what stands at a path of plain content; None where nothing does."""
    for part in path:
        content = below(content, part)
    return content
