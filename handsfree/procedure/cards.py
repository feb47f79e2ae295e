"""What stands on a gate's card in a picture: its prompt, its bands, what passes it, and where each way leads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from handsfree.gates.kind import Effects
from handsfree.gates.outcomes import DONE
from handsfree.procedure.procedure import PlacedGate, Procedure

Sort = Literal["title", "prompt", "band", "thing", "note"]


@dataclass(frozen=True)
class CardLine:
    """One line of text on a card."""

    sort: Sort
    text: str


@dataclass(frozen=True)
class DrawnWay:
    """One or more outcomes that lead to the same place."""

    outcomes: tuple[str, ...]
    to: str

    @property
    def said(self) -> str:
        """The outcomes as one text."""
        return ", ".join(self.outcomes)


@dataclass(frozen=True)
class Card:
    """All that is drawn of one gate."""

    id: str
    kind: str
    firing: bool
    lines: tuple[CardLine, ...]
    ways: tuple[DrawnWay, ...]
    link: str = ""
    """Where a click on it leads, when it stands for something else."""


def card_of(procedure: Procedure, placed: PlacedGate) -> Card:
    """Return the card of a gate."""
    gate = placed.gate
    return Card(placed.id, gate.kind, gate.firing, tuple(_lines(procedure, placed)), tuple(_ways(placed)))


def _lines(procedure: Procedure, placed: PlacedGate) -> Iterator[CardLine]:
    gate, effects = placed.gate, placed.gate.effects
    rate = f" at {effects.rate}" if effects.rate else ""
    yield CardLine("title", f"{gate.title} ({gate.kind}{rate}{', firing' if gate.firing else ''})")
    if gate.when:
        yield CardLine("note", f"asked when: {told_when(gate.when)}")
    for key in ("prompt", "script"):
        if key in gate.texts:
            yield CardLine("prompt", f"“{gate.texts[key]}”")
    for name, phrases in gate.phrases.items():
        heard = ", ".join(f"“{phrase}”" for phrase in phrases)
        yield CardLine("note", f"heard: {heard}" if name == DONE else f"{name}: {heard}")
    yield from (CardLine("band", text) for text in _bands(procedure, effects))
    if gate.needs:
        yield CardLine("note", "needs: " + ", ".join(f"{name} {state}" for name, state in gate.needs.items()))
    for verb, names in (("alters", effects.alters), ("restores", effects.restores)):
        if names:
            yield CardLine("thing", f"{verb}: {', '.join(names)}")
    if gate.at_most is not None:
        yield CardLine("note", f"at most {gate.at_most} times")


def told_when(when: Mapping[str, tuple[str, ...]]) -> str:
    """Return conditions as one text."""
    return ", and ".join(f"{decider} is {' or '.join(values)}" for decider, values in when.items())


def _bands(procedure: Procedure, effects: Effects) -> Iterator[str]:
    for ask in effects.asks:
        believed = f", believed {_span(ask.low, ask.high)}" if (ask.low, ask.high) != (None, None) else ""
        yield f"{ask.quantity} in {_unit(procedure, ask.quantity)}{believed}"
    settle = effects.settle
    if settle is not None:
        yield (
            f"settles: from {settle.wait_seconds} s, {settle.sets} sets every {settle.interval_seconds} s, "
            f"at most {settle.most_sets}"
        )
    judging = effects.judges
    if judging is None:
        return
    of = ", ".join(dict.fromkeys(judging.using.values()))
    at = f" at {judging.rate}" if judging.rate else ""
    yield f"{judging.calculation}{f' of {of}' if of else ''}{at}"
    limits = judging.limits
    if limits is None:
        yield "limits: from the sheets"
    else:
        unit = _as_shown(procedure, limits.unit) if limits.unit else _unit(procedure, limits.quantity or "")
        accuracy = "" if limits.accuracy is None else f", ± {limits.accuracy}"
        rows = [_span(row.low, row.high) for _, row in limits.each_row()] or [_span(limits.low, limits.high)]
        table = "" if limits.rows is None else f" by the table {limits.rows.table}:"
        yield f"band: {limits.quantity or 'result'}{table} {', or '.join(rows)} {unit}{accuracy}"


def _unit(procedure: Procedure, quantity: str) -> str:
    facts = procedure.trade.quantities.get(quantity)
    return _as_shown(procedure, facts.unit) if facts is not None else "its unit"


def _as_shown(procedure: Procedure, unit: str) -> str:
    """Return a unit as screens write it: `°C` for the UCUM code `Cel`."""
    return procedure.catalogue.glance.units.get(unit, unit)


def _span(low: Decimal | None, high: Decimal | None) -> str:
    if low is None:
        return f"up to {high}"
    return f"from {low}" if high is None else f"{low} to {high}"


def _ways(placed: PlacedGate) -> Iterator[DrawnWay]:
    leading: dict[str, list[str]] = {}
    for outcome, to in placed.transitions.items():
        leading.setdefault(to, []).append(outcome)
    yield from (DrawnWay(tuple(outcomes), to) for to, outcomes in leading.items())
