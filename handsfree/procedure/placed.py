"""A gate in its place: flattened, with where it leads, and where it is written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from handsfree.documents import Document, Place
from handsfree.gates import Gate

_NAMING = ("alters", "restores", "things", "captures")
"""Keys of a gate that name things."""


JudgingKey = tuple[str, tuple[tuple[str, str], ...], str | None, str]
"""A calculation, the points that it judges, its rate and its limits: the same readings give the same outcome."""
LimitKey = tuple[str, str | None]
"""A calculation and the rate, or the readings, by which it is chosen what limits it."""


@dataclass(frozen=True)
class PlacedGate:
    """A flattened gate: its full id, its block, where each outcome leads, and where it stands in its file."""

    id: str
    gate: Gate
    transitions: Mapping[str, str]
    place: Place
    document: Document
    number: int
    """Its number in its file; what the language adds itself comes after the last."""

    def at(self, *path: str | int) -> Place:
        """Return where a key of the gate stands, or the gate when the key is not written."""
        here = ("gates", self.number)
        return self.document.place((*here, *path)) if here in self.document.places else self.place

    def key_at(self, *path: str | int) -> Place:
        """Return where the name of a key of the gate stands, or the gate when the key is not written."""
        here = ("gates", self.number)
        return self.document.key_place((*here, *path)) if here in self.document.places else self.place

    def named(self, name: str) -> Place:
        """Return where the gate names a thing that it needs, alters, restores or captures."""
        needed = ("gates", self.number, "needs", name)
        if needed in self.document.keys:
            return self.document.keys[needed]
        written = [self.gate.model_dump(mode="json").get(key) for key in _NAMING]
        for key, value in zip(_NAMING, written, strict=True):
            if value == name:
                return self.at(key)
            if isinstance(value, list) and name in value:
                return self.at(key, value.index(name))
        return self.place

    @cached_property
    def judging_key(self) -> JudgingKey | None:
        """What a verdict's outcome follows from, beside the readings and the sheets; None at any other gate."""
        judging = self.gate.effects.judges
        if judging is None:
            return None
        limits = "" if judging.limits is None else judging.limits.model_dump_json()
        return judging.calculation, tuple(sorted(judging.using.items())), judging.rate, limits

    @cached_property
    def limit_key(self) -> LimitKey | None:
        """Which limit a verdict depends on: one of the sheets at a rate, or that of one reading; else None."""
        judging = self.gate.effects.judges
        if judging is None:
            return None
        if judging.limits is None:
            return judging.calculation, judging.rate
        table = judging.limits.rows
        row = () if table is None else (judging.limits.quantity or "", table.table, *judging.limits.at.values())
        return judging.calculation, " ".join((judging.using.get("readings", ""), *row))
