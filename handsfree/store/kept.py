"""What a store keeps of a visit, and gives back: rows with a name and a type for every column."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from handsfree.trades.supervision import About

LEAST_SHARED = 9
"""Fewer readings than this may be the same in two visits by chance: common practice, no source."""

COPIED = 35
"""How much copied values weigh in the order of attention, as `desk/concerns.py` weighs the rest."""

Cell: TypeAlias = str | int | float | None
Row: TypeAlias = Mapping[str, Cell]
"""One row as an examination makes it; the store adds the visit's key."""


@dataclass(frozen=True)
class Examined:
    """What a store keeps of a visit: one row of facts, rows for each of its tables, and what its page shows."""

    facts: Row
    rows: Mapping[str, Sequence[Row]] = field(default_factory=dict)
    view: bytes = b""


@dataclass(frozen=True)
class NotedVisit:
    """A folder as a scan finds it: the key, its name beneath the root, what changes with it, its quick facts."""

    key: str
    folder: str
    light: str
    facts: Row


@dataclass(frozen=True)
class VisitRow:
    """The facts of one visit; the fields are the columns of the catalogue."""

    key: str
    folder: bytes
    """Beneath the root, as the file system has it: it may be no text."""
    light: str
    """What changes when the folder does."""
    job: str = ""
    site: str = ""
    technician: str = ""
    licence: str = ""
    appliance: str = ""
    serial: str = ""
    instrument: str = ""
    instrument_serial: str = ""
    procedure: str = ""
    version: str = ""
    office: str = ""
    calibrated_until: str = ""
    day: str = ""
    opened_at: str = ""
    outcome: str = ""
    summary: str = ""
    told: str = ""
    """Notes and reasons, typed or machine-written, to search in."""
    seal: str = ""
    sentence: str = ""
    checksum: str = ""
    identity: str = ""
    device: str = ""
    anchor: str = ""
    anchored: str = ""
    stamp: str = ""
    """What changes when any file of the folder does."""
    checked_at: str = ""
    signed: str = ""
    entries: int = 0
    turns: int = 0
    not_done: int = 0
    fails: int = 0
    unsure: int = 0
    minutes: float = 0.0
    clean: bool = False
    danger: int = 0
    waits: int = 0
    """0 waits for a verdict, 1 for the technician's answer, 2 for nothing."""
    shapes: int = 0
    """How many values were kept to find copies by."""
    route: str = ""
    """Which gates were passed, as a digest of their names and titles."""
    revision: int = 0
    """Rises with every change of what questions read; 0 while nothing was examined."""
    news: int = 0
    """Rises with every examination and every signature: by it others notice both."""

    @property
    def name(self) -> str:
        """The folder's name as a person can read it."""
        return self.folder.decode("utf-8", "replace")

    @property
    def path(self) -> str:
        """The folder's name as the file system takes it."""
        return os.fsdecode(self.folder)


@dataclass(frozen=True)
class ReadingRow:
    """A quantity as it was found or left at a measurement point."""

    key: str
    rate: str
    at_time: str
    quantity: str
    value: float


@dataclass(frozen=True)
class Concern:
    """One thing that is not resolved: in a word or two, in a sentence, its weight, its question, its entry."""

    kind: str
    says: str
    weight: int
    about: About
    seq: int | None = None


@dataclass(frozen=True)
class AlikeVisit:
    """Another visit whose readings are the same but for a few; of another office no job is told."""

    job: str
    day: str
    shared: int


@dataclass(frozen=True)
class KeptAnswer:
    """An answer across visits: when it was worked out, from which revision, and what it was."""

    revision: int
    made_at: str
    body: bytes
