"""The names that a procedure may use where it is being written, each with a line about it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.blocks import described_fields
from handsfree.documents import Document
from handsfree.gates.outcomes import DONE, NOT_DONE
from handsfree.gates.when import NOT_COME_TO
from handsfree.problem import Problem
from handsfree.procedure.branching import facts_with_choices
from handsfree.procedure.sheets import model_of
from handsfree.procedure.trades import TradeData, trade_data, trade_data_asked
from handsfree.trades import DEFAULT_TRADE
from handsfree.trades.calculation import Calculation

MOST_INCLUDED = 40
"""Included files that are looked into."""


@dataclass(frozen=True)
class KnownNames:
    """What the file at hand, what it includes and its trade give names to."""

    content: Mapping[str, Any]
    folder: Path
    read: Callable[[Path], Document]

    @property
    def trade(self) -> TradeData:
        """The trade that the file names, where it is one."""
        try:
            return trade_data_asked(str(self.content.get("trade", DEFAULT_TRADE)), None, self.folder, self.read)
        except Problem:
            return trade_data(DEFAULT_TRADE)

    @property
    def calculations(self) -> Mapping[str, Calculation]:
        """The trade's calculations."""
        return self.trade.functions.calculations

    @property
    def gates(self) -> dict[str, str]:
        """The gates of this file."""
        written = self.content.get("gates")
        gates = [one for one in written if isinstance(one, dict)] if isinstance(written, list) else []
        return {str(one["id"]): f"{one.get('title') or one.get('file') or ''} ({one.get('kind')})"
                for one in gates if isinstance(one.get("id"), str)}  # fmt: skip

    def targets(self) -> dict[str, str]:
        """Return the gates and exits of this file, as transitions name them."""
        exits = self.content.get("exits")
        names = [str(name) for name in exits] if isinstance(exits, list) else []
        return {**self.gates, **{f"exit {name}": "a way out of this part" for name in names}}

    def things(self) -> dict[str, Mapping[str, Any]]:
        """Return the things that this file and what it includes alter."""
        found: dict[str, Mapping[str, Any]] = {}
        for content in (self.content, *self._included()):
            things = content.get("things")
            for name, thing in things.items() if isinstance(things, dict) else ():
                if isinstance(thing, dict):
                    found.setdefault(str(name), thing)
        return found

    def points(self) -> dict[str, str]:
        """Return the measurement points whose readings a verdict can judge."""
        found: dict[str, str] = {}
        for content in (self.content, *self._included()):
            gates = content.get("gates")
            for gate in gates if isinstance(gates, list) else ():
                if isinstance(gate, dict) and isinstance(gate.get("point"), str):
                    found.setdefault(gate["point"], f"read at {gate.get('id')}")
            found_taken = content.get("readings")
            for name in found_taken if isinstance(found_taken, list) else ():
                found.setdefault(str(name), "found taken by this part")
        return found

    def parameters(self) -> dict[str, str]:
        """Return the file's own parameters with their defaults."""
        given = self.content.get("parameters")
        return {f"${name}": f"parameter, by default {value}" for name, value in given.items()} \
            if isinstance(given, dict) else {}  # fmt: skip

    def facts(self) -> dict[str, str]:
        """Return the facts of the job sheet."""
        sheet = model_of(self.trade, "job")
        return {
            name.replace("_", "-"): " ".join((one.description or "").split())
            for name, one in described_fields(sheet).items()
        }

    def choices(self) -> dict[str, tuple[str, ...]]:
        """Return the facts of both sheets that have choices, with these."""
        return facts_with_choices(self.trade.sheets)

    def outcomes(self, gate_id: str) -> tuple[str, ...]:
        """Return what a gate of this file may have been passed by, as far as its answers tell."""
        written = self.content.get("gates")
        gates = [one for one in written if isinstance(one, dict)] if isinstance(written, list) else []
        gate = next((one for one in gates if one.get("id") == gate_id), {})
        own = [*(gate.get("answers") or ()), *(gate.get("branches") or ())] or [DONE]
        return (*map(str, own), NOT_DONE, NOT_COME_TO)

    def quantity(self, name: str) -> str:
        """Return a line about a quantity of the trade; empty when it has none of the name."""
        facts = self.trade.quantities.get(name)
        if facts is None:
            return ""
        return f"in `{facts.unit}`, {facts.decimals} digits after the point, from {facts.low} to {facts.high}"

    def part(self, file: object) -> Mapping[str, Any]:
        """Return the content of a file beside this one; empty where it cannot be read."""
        if not isinstance(file, str) or "/" in file:
            return {}
        try:
            content = self.read(self.folder / file).content
        except Problem:
            return {}
        return content if isinstance(content, dict) else {}

    def parts_beside(self) -> dict[str, str]:
        """Return the procedures that stand beside this one and have exits."""
        found = {}
        for path in sorted(self.folder.glob("*.yaml"))[:200]:
            content = self.part(path.name) if path.name.count(".") == 1 else {}
            if content.get("exits"):
                found[path.name] = str(content.get("title", ""))
        return found

    def _included(self) -> Iterator[Mapping[str, Any]]:
        waiting, seen = [self.content], set[str]()
        while waiting and len(seen) < MOST_INCLUDED:
            gates = waiting.pop().get("gates")
            for gate in gates if isinstance(gates, list) else ():
                file = gate.get("file") if isinstance(gate, dict) else None
                if isinstance(file, str) and file not in seen:
                    seen.add(file)
                    part = self.part(file)
                    yield part
                    waiting.append(part)
