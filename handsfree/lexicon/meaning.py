"""What words can mean at a gate: a few frozen shapes, all plain data."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

TOLD: Final = "told"
"""The answer that is free words, kept and not understood."""

Special = Literal["over range", "no reading"]
OVER_RANGE: Final = "over range"
NO_READING: Final = "no reading"


@dataclass(frozen=True)
class InUnit:
    """A number called in another unit than the one its quantity is kept in."""

    value: Decimal
    unit: str
    """UCUM code."""

    def __str__(self) -> str:
        """Return it as the record describes it."""
        return f"{self.value} {self.unit}"


Number = Decimal | InUnit
"""A number as called out, exact: in the quantity's own unit, or in the one named."""

Called = Number | Special
"""A value as called out: a number, or what the display showed instead of one."""

Shown = Decimal | Special
"""What a display showed, a number in the quantity's own unit."""


CommandName = Literal[
    "repeat",
    "go-back",
    "hold-on",
    "carry-on",
    "where-am-i",
    "what-is-left",
    "that-was-wrong",
    "not-done",
    "no-photo",
    "note",
    "more-time",
]


@dataclass(frozen=True)
class Command:
    """An everywhere phrase."""

    name: CommandName


@dataclass(frozen=True)
class HazardSaid:
    """A stop or hazard phrase."""

    name: str


@dataclass(frozen=True)
class Answer:
    """A phrase that answers the question at hand, by its name."""

    name: str


@dataclass(frozen=True)
class Values:
    """Values called out, by quantity; the rate as called before and after them, when it was."""

    values: tuple[tuple[str, Called], ...]
    before: str | None = None
    after: str | None = None


@dataclass(frozen=True)
class Correction:
    """A correction in one breath ("no, nine point five"); quantity None means whichever it fits."""

    values: tuple[tuple[str | None, Called], ...]


@dataclass(frozen=True)
class Wrong:
    """A value accepted earlier is taken back ("flow was wrong")."""

    quantity: str


@dataclass(frozen=True)
class TurnMade:
    """A turn of an adjuster as called: direction and eighths of a turn."""

    direction: Literal["clockwise", "counter-clockwise"] | None
    eighths: int


@dataclass(frozen=True)
class Spelled:
    """A serial number spelled out."""

    text: str


Meaning = Command | HazardSaid | Answer | Values | Correction | Wrong | TurnMade | Spelled
