"""A gate in its place: flattened, with where it leads, and where it is written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from handsfree.documents import Document, Place
from handsfree.gates import Gate

_NAMING = ("alters", "restores", "things", "captures")
"""Keys of a gate that name things."""


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
