"""What is changed for the work and put back, and the turns of an adjuster."""

from __future__ import annotations

from typing import Literal

from handsfree.events.decisions.reading import ReadingRecord
from handsfree.events.inputs import Record

Direction = Literal["clockwise", "counter-clockwise"]


class FoundValue(Record):
    """A thing's setting as found, captured before it is altered."""

    kind: Literal["found-value"] = "found-value"
    thing: str
    reading: ReadingRecord


class Altered(Record):
    """A thing was changed for the work."""

    kind: Literal["altered"] = "altered"
    at: int
    thing: str
    gate: str


class Restored(Record):
    """A thing was put back; a setting is proven by its value."""

    kind: Literal["restored"] = "restored"
    at: int
    thing: str
    gate: str
    reading: ReadingRecord | None = None


class Advised(Record):
    """One step of advice, or why there is none."""

    kind: Literal["advised"] = "advised"
    gate: str
    adjuster: str
    direction: str
    eighths: int
    reason: str


class TurnCalled(Record):
    """A turn called unlike what was asked for; it does not count yet. What was then taken back stands here too."""

    kind: Literal["turn-called"] = "turn-called"
    at: int
    gate: str
    direction: Direction
    eighths: int
    unlike: str
    """How it differs from what was asked for."""


class ScrewNamed(Record):
    """The person said which adjuster it was; what was turned and not yet undone was turned on that one."""

    kind: Literal["screw-named"] = "screw-named"
    at: int
    gate: str
    rate: str
    """The adjuster of this rate; empty for one that the sheet does not name."""


class TurnWatched(Record):
    """What the instrument showed right after a turn that was not as advised."""

    kind: Literal["turn-watched"] = "turn-watched"
    at: int
    gate: str
    reading: ReadingRecord


class Turned(Record):
    """A turn that counts, as the person called it."""

    kind: Literal["turned"] = "turned"
    at: int
    gate: str
    rate: str
    """The adjuster of this rate; empty for one that the sheet does not name."""
    direction: Direction
    eighths: int
    unlike: str = ""
    """How it differs from what was asked for, called again the same: then it is to be undone."""
    undoes: bool = False
    """It undoes, all or in part, one that was unlike."""
