"""A long procedure folded into pages: each included part on its own, a long one cut where few ways cross."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from handsfree.procedure.procedure import PlacedGate, Procedure

FEWEST = 3
"""A run of fewer gates goes onto the page of its neighbour where there is room."""


@dataclass(frozen=True)
class Fold:
    """The gates of one page, in order, and the title of their part."""

    title: str
    gates: tuple[str, ...]


def folded(procedure: Procedure, heights: Mapping[str, int], room: int) -> tuple[Fold, ...]:
    """Return the pages of a procedure, stops aside; `heights` are of gates, `room` of a page."""
    main = [placed for placed in procedure.gates.values() if placed.gate.effects.end != "stop"]
    runs = [(_title(procedure, group[0]), [placed.id for placed in group])
            for _, part in groupby(main, key=_part) for group in (list(part),)]  # fmt: skip
    pages: list[Fold] = []
    for title, gates in _joined(runs, heights, room):
        pieces = _cut(procedure, gates, heights, room)
        for piece in pieces:
            named = piece[0] if len(piece) == 1 else f"{piece[0]} to {piece[-1]}"
            of = f": {named}" if len(pieces) > 1 else ""
            pages.append(Fold(f"{title}{of}", tuple(piece)))
    return tuple(pages)


def _part(placed: PlacedGate) -> tuple[str, str]:
    return placed.document.file, placed.id.removesuffix(placed.gate.id)


def _title(procedure: Procedure, placed: PlacedGate) -> str:
    prefix = placed.id.removesuffix(placed.gate.id).rstrip("/")
    content = placed.document.content
    title = str(content.get("title", procedure.file.title)) if isinstance(content, dict) else procedure.file.title
    return f"{title}: {prefix}" if prefix else title


def _joined(
    runs: Sequence[tuple[str, list[str]]], heights: Mapping[str, int], room: int
) -> list[tuple[str, list[str]]]:
    """Put runs of very few gates onto the page before, or the one after, where they fit."""
    joined: list[tuple[str, list[str]]] = []
    for title, gates in runs:
        if joined:
            before, others = joined[-1]
            short = min(len(gates), len(others)) < FEWEST
            if short and sum(heights[gate] for gate in (*others, *gates)) <= room:
                kept = before if len(others) >= len(gates) else title
                joined[-1] = (kept, [*others, *gates])
                continue
        joined.append((title, list(gates)))
    return joined


def _cut(procedure: Procedure, gates: list[str], heights: Mapping[str, int], room: int) -> list[list[str]]:
    """Cut a run into as few pages as it takes, at the places that fewest ways cross."""
    row = {gate: number for number, gate in enumerate(gates)}
    crossing = [0] * (len(gates) + 1)
    for gate in gates:
        for to in procedure.gates[gate].transitions.values():
            low, high = sorted((row[gate], row.get(to, row[gate])))
            for cut in range(low + 1, high + 1):
                crossing[cut] += 1
    best: list[tuple[int, int, int]] = [(0, 0, 0)]  # pages, ways crossed, where the last page begins
    for end in range(1, len(gates) + 1):
        options = []
        for start in range(end - 1, -1, -1):
            if start < end - 1 and sum(heights[gate] for gate in gates[start:end]) > room:
                break
            options.append((best[start][0] + 1, best[start][1] + crossing[start], start))
        best.append(min(options))
    pieces, end = [], len(gates)
    while end:
        start = best[end][2]
        pieces.append(gates[start:end])
        end = start
    return list(reversed(pieces))
