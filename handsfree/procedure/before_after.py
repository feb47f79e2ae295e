"""Two procedures side by side: each gate that changed as it was and as it is, with how each change weighs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from difflib import SequenceMatcher
from html import escape

from handsfree.procedure.cards import Card, card_of
from handsfree.procedure.comparison import Change
from handsfree.procedure.pages import PAGE_STYLE
from handsfree.procedure.procedure import Procedure

_STYLE = """
section{max-width:1000px;padding:16px}h1{font-size:18px}h2{font-size:15px;margin:6px 0}
.pair{display:grid;grid-template-columns:1fr 1fr;gap:10px;margin:8px 0;break-inside:avoid}
.card{border:1.5px solid #456;border-radius:4px;padding:6px 8px;font-size:11px;line-height:1.35;background:#fff}
.id{font-weight:700}.none{border:1.5px dashed #999;border-radius:4px;color:#777;padding:6px 8px;font-size:11px}
del{background:#fdd;color:#711;text-decoration:line-through}ins{background:#dfd;color:#050;text-decoration:none}
.same{color:#666;font-size:11px;border-left:3px solid #ccc;padding-left:8px;margin:6px 0}
ul{grid-column:1/3;margin:0;padding-left:18px;font-size:11px}.looser{color:#a00;font-weight:700}.tighter{color:#064}
.wording,.neutral{color:#345}@media print{section{height:auto}}
"""


def before_and_after(old: Procedure, new: Procedure, found: Sequence[Change]) -> str:
    """Return a page of HTML: what changed stands side by side, what did not is folded to a line."""
    was, now = _cards(old), _cards(new)
    by_gate: dict[str, list[Change]] = {}
    for change in found:
        by_gate.setdefault(change.gate, []).append(change)
    body = "\n".join(_rows(was, now, by_gate))
    whole = "".join(_told(change) for change in by_gate.get("", ()))
    title = escape(new.file.title)
    head = f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{title}: before and after</title>'
    return (
        f"{head}<style>{PAGE_STYLE}{_STYLE}</style><body><section><h1>{title}</h1>"
        f'<div class="pair"><h2>Before: {old.version()[:12]}</h2><h2>After: {new.version()[:12]}</h2>'
        f"{f'<ul>{whole}</ul>' if whole else ''}</div>{body}</section></body></html>\n"
    )


def _cards(procedure: Procedure) -> dict[str, Card]:
    return {gate_id: card_of(procedure, placed) for gate_id, placed in procedure.gates.items()}


def _rows(was: Mapping[str, Card], now: Mapping[str, Card], changed: Mapping[str, list[Change]]) -> Iterator[str]:
    """Yield the rows in the order of the new one, each gate that went where it stood."""
    same: list[str] = []
    for before, after in _aligned(list(was), list(now)):
        gate = after or before
        if before and after and gate not in changed and was[gate] == now[gate]:
            same.append(gate)
            continue
        yield from _folded(same)
        same = []
        told = "".join(_told(change) for change in changed.get(gate, ()))
        yield (
            f'<div class="pair">{_side(was.get(before), now.get(after), "del")}'
            f"{_side(now.get(after), was.get(before), 'ins')}{f'<ul>{told}</ul>' if told else ''}</div>"
        )
    yield from _folded(same)


def _aligned(was: list[str], now: list[str]) -> Iterator[tuple[str, str]]:
    """Yield pairs of gates of one name; empty on the side that has none of it, or has it elsewhere."""
    for tag, low, high, first, last in SequenceMatcher(a=was, b=now, autojunk=False).get_opcodes():
        if tag == "equal":
            yield from zip(was[low:high], now[first:last], strict=True)
        else:
            yield from ((gate, "") for gate in was[low:high])
            yield from (("", gate) for gate in now[first:last])


def _folded(gates: Sequence[str]) -> Iterator[str]:
    if len(gates) == 1:
        yield f'<div class="same">as before: {escape(gates[0])}</div>'
    elif gates:
        yield f'<div class="same">{len(gates)} gates as before: {escape(gates[0])} to {escape(gates[-1])}</div>'


def _side(card: Card | None, other: Card | None, mark: str) -> str:
    """Return a card in which what the other lacks is marked."""
    if card is None:
        return '<div class="none">not here</div>'
    there = set() if other is None else set(_texts(other))
    lines = (escape(text) if text in there else f"<{mark}>{escape(text)}</{mark}>" for text in _texts(card))
    return f'<div class="card"><div class="id">{escape(card.id)}</div>{"<br>".join(lines)}</div>'


def _texts(card: Card) -> list[str]:
    ways = [f"{outcome} → {way.to}" for way in card.ways for outcome in way.outcomes]
    return [*(line.text for line in card.lines), *ways]


def _told(change: Change) -> str:
    return f'<li class="{change.weight}">{change.weight}: {escape(change.sentence())}</li>'
