"""What changed in the limits of a verdict that takes them from a table: row by row, each weighed by itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from handsfree.gates.block import Limits
from handsfree.gates.table import Edges
from handsfree.procedure.weighing import Weight, gravest, of_edge


@dataclass(frozen=True)
class RowChange:
    """One change: what it is about, before and after, and how it weighs."""

    what: str
    before: str
    after: str
    weight: Weight


def row_changes(was: Limits, now: Limits) -> Iterator[RowChange]:
    """Yield what changed between two sets of limits of which one at least stands in a table.

    What stands in no table holds for every row of the other.
    """
    for what, before, after in (
        ("judges", was.quantity or was.unit or "", now.quantity or now.unit or ""),
        ("accuracy", _shown(was.accuracy), _shown(now.accuracy)),
        ("unit of the limits", _unit(was), _unit(now)),
    ):
        if before != after and before and after:
            yield RowChange(what, before, after, "looser")
    if bool(was.accuracy) != bool(now.accuracy):
        yield RowChange("accuracy", _shown(was.accuracy), _shown(now.accuracy), "looser")
    if was.rows and now.rows and set(was.rows.by) != set(now.rows.by):
        yield RowChange("table by", ", ".join(was.rows.by), ", ".join(now.rows.by), "looser")
        return
    yield from _by_row(was, now)
    if now.may_lack and not was.may_lack:
        yield RowChange("may have no limit", "no", "yes", "looser")
    for fact in was.rows.by if was.rows and now.rows else ():
        before, after = (one.rows.by[fact] if one.rows else "" for one in (was, now))
        if before != after:
            yield RowChange(f"rows by {fact}", before, after, "looser" if after == "interpolated" else "tighter")
    before, after = (one.rows.source if one.rows else one.source for one in (was, now))
    if before != after:
        yield RowChange("source of the limits", before, after, "neutral")


def _by_row(was: Limits, now: Limits) -> Iterator[RowChange]:
    """Yield each row, or number of one of both tables, whose limits changed."""
    both = [one for one in (was, now) if one.rows is not None]
    choices = dict.fromkeys(
        tuple(sorted((fact, value) for fact, value in choice.items() if fact in one.rows.facts))
        for one in both
        if one.rows is not None
        for _, row in one.rows.rows_of(one.at)
        for choice in row.choices()
    )
    numbers = sorted({row.number for one in both if one.rows for row in one.rows.rows}, key=lambda one: one or 0)
    for choice in choices:
        for number in numbers:
            before, after = _edges(was, dict(choice), number), _edges(now, dict(choice), number)
            if before != after:
                at = (*(value for _, value in choice), *(() if number is None else (f"{number:f}",)))
                what = f"limits for {', '.join(at)}" if at else "limits"
                yield RowChange(what, _span(before), _span(after), _weight(before, after))


def _edges(limits: Limits, choice: dict[str, str], number: Decimal | None) -> Edges | None:
    if limits.rows is None:
        return limits.low, limits.high
    return limits.rows.edges({**choice, **limits.at}, number)


def _weight(was: Edges | None, now: Edges | None) -> Weight:
    if was is None or now is None:
        return "tighter" if was is None else "looser"
    edges = zip(was, now, (True, False), strict=True)
    return gravest(of_edge(before, after, low=low) for before, after, low in edges)


def _span(edges: Edges | None) -> str:
    if edges is None:
        return "no limit"
    low, high = edges
    if low is None:
        return f"at most {high}"
    return f"at least {low}" if high is None else f"{low} to {high}"


def _unit(limits: Limits) -> str:
    return limits.rows.unit if limits.rows else ""


def _shown(value: Decimal | None) -> str:
    return "" if value is None else f"{value:f}"


__all__ = ["RowChange", "row_changes"]
