"""A procedure as pages: an overview of its parts, each part a page, the written stops at the end.

One HTML file with a page for each, to be read in a browser and printed on A4.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from html import escape

from handsfree.procedure.cards import Card, CardLine, DrawnWay, card_of
from handsfree.procedure.drawing import (
    TOP,
    Elsewhere,
    Stay,
    altered_spans,
    column,
    height,
    walked,
)
from handsfree.procedure.folding import Fold, folded
from handsfree.procedure.procedure import Procedure

TALL = 1030
"""Pixels that a page of A4 with margins of 10 mm holds below its head, at 720 across."""

PAGE_STYLE = """
body{margin:0;background:#ddd;font:14px 'DejaVu Sans',Verdana,sans-serif}
section{background:#fff;max-width:900px;margin:12px auto;padding:12px;box-sizing:border-box}
svg{display:block;width:100%;height:auto}footer{font-size:11px;color:#555;margin-top:6px}
@page{size:A4;margin:10mm}
@media print{body{background:#fff}section{margin:0;padding:0;max-width:none;break-after:page;height:276mm}
svg{max-height:266mm}}
"""


def pages(procedure: Procedure, stays: Sequence[Stay] = ()) -> str:
    """Return the procedure as one HTML file of pages; with stays, the path that a visit walked."""
    return document(procedure.file.title, list(_pictures(procedure, stays)), f"Version {procedure.version()[:12]}")


def document(title: str, pictures: Sequence[str], foot: str) -> str:
    """Return pictures as one HTML file, each on its page."""
    sections = [
        f'<section id="page-{number}">{picture}<footer>{escape(foot)} · page {number} of {len(pictures)} · '
        f'<a href="#page-1">overview</a></footer></section>'
        for number, picture in enumerate(pictures, 1)
    ]
    head = f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(title)}</title>'
    return f"{head}<style>{PAGE_STYLE}</style><body>\n" + "\n".join(sections) + "\n</body></html>\n"


def _pictures(procedure: Procedure, stays: Sequence[Stay]) -> Iterator[str]:
    cards = {gate_id: card_of(procedure, placed) for gate_id, placed in procedure.gates.items()}
    things = altered_spans(procedure)
    room = TALL - TOP - 24 - 14 * min(12, len(things))
    folds = folded(procedure, {gate_id: height(card) for gate_id, card in cards.items()}, room)
    overview = _overview(folds, cards, room)
    stops = _sheets([card for card in cards.values() if card.kind == "stop"], room)
    first = 1 + len(overview)
    on = {gate: first + number for number, fold in enumerate(folds) for gate in fold.gates}
    on |= {card.id: first + len(folds) + number for number, sheet in enumerate(stops) for card in sheet}

    def elsewhere(to: str) -> Elsewhere:
        stop = cards[to].kind == "stop"
        return Elsewhere(f"{to}{'' if stop else f', page {on[to]}'}", stops=stop, link=f"#page-{on[to]}")

    def part(to: str) -> Elsewhere:
        number = first + len(folds) if to == _STOPS else to.removeprefix(_PAGE)
        return Elsewhere(to, stops=to == _STOPS, link=f"#page-{number}")

    went = walked(stays)
    for number, sheet in enumerate(overview):
        of = f", continued ({number + 1} of {len(overview)})" if number else ""
        yield column(f"{procedure.file.title}: {len(procedure.gates)} gates{of}", sheet, {}, part)
    for number, fold in enumerate(folds):
        title = f"{first + number}. {fold.title}"
        yield column(title, [cards[gate] for gate in fold.gates], things, elsewhere, went)
    for sheet in stops:
        yield column("Stops written into the procedure", sheet, {}, elsewhere, went)


_STOPS = "a stop"


_PAGE = "page "


def _overview(folds: Sequence[Fold], cards: Mapping[str, Card], room: int) -> list[list[Card]]:
    """Return the sheets of the overview; its own length moves the numbers of the pages that it tells."""
    sheets: list[list[Card]] = [[]]
    for _ in range(3):
        first = 1 + len(sheets)
        on = {gate: f"{_PAGE}{first + number}" for number, fold in enumerate(folds) for gate in fold.gates}
        sheets = _sheets([_part_card(fold, cards, on) for fold in folds], room)
    return sheets


def _part_card(fold: Fold, cards: Mapping[str, Card], on: Mapping[str, str]) -> Card:
    """Return the card of a page in the overview: what it holds, and which outcomes lead to which other page."""
    here = [cards[gate] for gate in fold.gates]
    page = on[fold.gates[0]]
    leading: dict[str, dict[str, None]] = {}
    for card in here:
        for way in card.ways:
            to = on.get(way.to, _STOPS if way.to in cards else way.to)
            if to != page:
                leading.setdefault(to, {}).update(dict.fromkeys(way.outcomes))
    lines = [CardLine("title", fold.title), CardLine("note", "1 gate" if len(here) == 1 else f"{len(here)} gates")]
    judging = [card.id for card in here if card.kind == "verdict"]
    if judging:
        lines.append(CardLine("band", f"judges: {', '.join(judging)}"))
    ways = tuple(DrawnWay(tuple(outcomes), to) for to, outcomes in leading.items())
    link = f"#page-{page.removeprefix(_PAGE)}"
    return Card(page, "part", any(card.firing for card in here), tuple(lines), ways, link)


def _sheets(cards: Sequence[Card], room: int) -> list[list[Card]]:
    """Return cards on as many sheets as they take."""
    sheets: list[list[Card]] = []
    used = room
    for card in cards:
        if used + height(card) > room:
            sheets.append([])
            used = 0
        sheets[-1].append(card)
        used += height(card)
    return sheets
