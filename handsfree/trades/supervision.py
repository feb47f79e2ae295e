"""What a trade's own rules for the supervisor's checklist see of a recorded visit, and what they answer.

The desk keeps the rules that any trade can use. A trade that needs more registers functions over this protocol
(`handsfree/trades/registered_rules.py`), so that it never depends on the desk, the record or the session.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Generic, Literal, Protocol, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict


class AssessedAs(StrEnum):
    """What can be said of one thing a supervisor verifies."""

    PASS = "pass"  # noqa: S105 - a verdict, no word to enter by
    FAIL = "fail"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True)
class Assessment:
    """A result with its reason and the entry that shows it."""

    result: AssessedAs
    why: str
    seq: int | None = None
    applies: bool = True
    """False when the procedure asks for no such thing: then nothing is missing."""


def passed(why: str, seq: int | None = None) -> Assessment:
    """Return a pass."""
    return Assessment(AssessedAs.PASS, why, seq)


def failed(why: str, seq: int | None = None) -> Assessment:
    """Return a fail."""
    return Assessment(AssessedAs.FAIL, why, seq)


def unknown(why: str, seq: int | None = None) -> Assessment:
    """Return that it cannot be told from the record."""
    return Assessment(AssessedAs.CANNOT_TELL, why, seq)


def not_asked(why: str) -> Assessment:
    """Return that it cannot be told, since the procedure asks for no such thing."""
    return Assessment(AssessedAs.CANNOT_TELL, why, applies=False)


Names = Annotated[
    tuple[str, ...], BeforeValidator(lambda value: tuple(value) if isinstance(value, list) else value)
]


class Item(BaseModel):
    """One thing on a checklist: what it says, the rule that judges it, and what that rule looks for."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    says: str
    """The line as the supervisor reads it."""
    rule: str
    """The rule's name: one of the desk's, or one that the trade registered."""
    gates: Names = ()
    """Gates that it looks for, without the prefix of an include."""
    good: Names = ()
    """The outcomes of those gates that are right."""
    quantities: Names = ()
    """Quantities that it looks for."""
    calculation: str = ""
    """The calculation whose verdicts it looks for."""
    calculations: Names = ()
    """The same, for a rule about several."""
    things: Names = ()
    """Things that are altered and put back."""
    state: Literal["altered", "restored"] = "restored"
    """The state in which those things must be."""
    point: str = ""
    """A measurement point, as report.yaml counts them."""
    after: str = ""
    """Another place, measured before it."""
    by: Decimal | None = None
    """A difference up to this is none, in the quantity's unit."""
    words: Names = ()
    """Words that each source must hold."""


@dataclass(frozen=True)
class JointReadings:
    """Values that stand together: read at one point in one set, or settled from several."""

    title: str
    point: str
    values: Mapping[str, Decimal]
    seq: int | None

    def number(self, quantity: str) -> float:
        """Return a value for arithmetic; raise KeyError when the set does not hold it."""
        return float(self.values[quantity])


@dataclass(frozen=True)
class CalledReading:
    """One accepted reading; `point` is the rate that was held, or empty."""

    point: str
    value: Decimal
    seq: int


@dataclass(frozen=True)
class VerdictNumbers:
    """The numbers that a verdict gave; `point` is the rate that it judged, or empty."""

    point: str
    values: Mapping[str, str]


class RecordedVisit(Protocol):
    """A recorded visit, as far as a trade's rule may ask."""

    def standing(self, *quantities: str) -> Sequence[JointReadings]:
        """Return the sets that stand and hold all of these quantities, in the order they were taken."""

    def left(self, *quantities: str) -> Sequence[JointReadings]:
        """Return the set that was left at each measurement point, of those that hold all of these quantities."""

    def called(self, quantity: str) -> Sequence[CalledReading]:
        """Return the accepted numbers of a quantity, in the order of their measurement points."""

    def last_called(self, quantity: str) -> CalledReading | None:
        """Return the number of a quantity that was accepted last."""

    def numbers(self, calculation: str) -> Sequence[VerdictNumbers]:
        """Return the numbers of each verdict of a calculation, in order."""

    def answered(self, gates: Sequence[str], good: Sequence[str]) -> Assessment:
        """Judge whether a gate was passed with a good answer."""

    def text(self, path: str) -> str:
        """Return a text of the sheets by its path ("job.fuel"); empty when there is none."""

    def exact(self, path: str) -> Decimal | None:
        """Return a number of the sheets by its path; None when there is none."""


V_contra = TypeVar("V_contra", contravariant=True)


About = Literal["right", "order", "settled", "back", "trust"]
"""Which of a supervisor's five questions it answers: done right, in order, settled, put back, to be trusted."""


@dataclass(frozen=True)
class SupervisionRule(Generic[V_contra]):
    """A rule: the function that judges an item, the keys that it needs, and the question that it answers.

    `reads` are quantities: where the procedure reads none of them the rule does not apply; "measured" stands for
    the one that the trade's work sets. Where `judges`, it applies to what the procedure judges.
    """

    judge: Callable[[V_contra, Item], Assessment]
    needs: tuple[str, ...] = ()
    about: About = "right"
    reads: tuple[str, ...] = ()
    judges: bool = False


class Derived(Protocol):
    """Numbers that follow from a set and are kept in the index beside its values."""

    def __call__(self, visit: RecordedVisit, taken: JointReadings, /) -> Mapping[str, float]:
        """Return the numbers by name; those that cannot be computed are left out."""


@dataclass(frozen=True)
class OwnRules:
    """What a trade adds in Python to the desk's rules; most trades add nothing."""

    rules: Mapping[str, SupervisionRule[RecordedVisit]]
    derived: Derived


__all__ = [
    "About",
    "AssessedAs",
    "Assessment",
    "CalledReading",
    "Derived",
    "Item",
    "JointReadings",
    "OwnRules",
    "RecordedVisit",
    "SupervisionRule",
    "VerdictNumbers",
    "failed",
    "not_asked",
    "passed",
    "unknown",
]  # fmt: skip
