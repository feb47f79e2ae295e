"""Called values, from the read-back to the settled value."""

from __future__ import annotations

from typing import Literal

from handsfree.events.decisions.reading import ReadingRecord
from handsfree.events.earlier import Compared
from handsfree.events.inputs import Record


class ReadBack(Record):
    """Values said back to the person; they are not accepted yet."""

    kind: Literal["read-back"] = "read-back"
    values: tuple[ReadingRecord, ...]
    doubtful: tuple[str, ...] = ()
    """Quantities that must be called a second time, whatever is answered."""


class ReadingCorrected(Record):
    """The person corrected a value: from what to what."""

    kind: Literal["reading-corrected"] = "reading-corrected"
    was: ReadingRecord
    now: ReadingRecord


class ReadingRefused(Record):
    """A value was not taken."""

    kind: Literal["reading-refused"] = "reading-refused"
    reading: ReadingRecord
    why: str
    pair: bool = False
    """It does not agree with the other half of its pair."""


class ReadingAccepted(Record):
    """A value counts from now on."""

    kind: Literal["reading-accepted"] = "reading-accepted"
    at: int
    gate: str
    kept_at: str
    """The measurement point; verdicts ask for it by this."""
    number: int
    """The number of the set, from 1."""
    reading: ReadingRecord
    how: Literal["affirmed", "silence", "twice", "corrected", "timed"]
    unusual: str = ""
    """Why it is unusual; it was then confirmed once more."""


class InstrumentCompared(Record):
    """A called value beside the instrument's row nearest in time; the row decides nothing."""

    kind: Literal["instrument-compared"] = "instrument-compared"
    at: int
    gate: str
    reading: ReadingRecord | None
    """As it was called; None where the instrument alone passed a limit, so that the value was asked for."""
    shown: ReadingRecord
    """As the instrument showed it."""
    age_ms: int
    """How long before the call the instrument took it; below nought: after it."""
    room: str
    """How far the two may lie apart, in the quantity's unit; empty where one of them is no number."""
    agrees: bool
    asks: bool = False
    """The person is asked to call it once more; what is then called stands."""


class RateCalled(Record):
    """The rate as called after the values of a set."""

    kind: Literal["rate-called"] = "rate-called"
    rate: str


class SetTaken(Record):
    """All values of a set are accepted and its rate was called."""

    kind: Literal["set-taken"] = "set-taken"
    at: int
    kept_at: str
    number: int


class LastTimeTold(Record):
    """What the visit before left was told, beside values that were accepted before it was."""

    kind: Literal["last-time"] = "last-time"
    at: int
    gate: str
    kept_at: str
    compared: tuple[Compared, ...]


class SetVoided(Record):
    """Readings no longer count."""

    kind: Literal["set-voided"] = "set-voided"
    kept_at: str
    why: str


class PairDoubted(Record):
    """Tied values cannot all be true; while this is open nothing there passes."""

    kind: Literal["pair-doubted"] = "pair-doubted"
    kept_at: str
    reason: str


class SettlingJudged(Record):
    """Whether one quantity has stopped moving, by the stated rule, with its numbers."""

    kind: Literal["settling-judged"] = "settling-judged"
    kept_at: str
    quantity: str
    settled: bool
    reason: str
    mean: str
    slope: str
    slope_half_width: str
    remaining: str
    forecast_seconds: str


class ValueSettled(Record):
    """The value that stands for the settled sets, with what settling leaves uncertain."""

    kind: Literal["value-settled"] = "value-settled"
    kept_at: str
    reading: ReadingRecord
    uncertainty: str


class Marked(Record):
    """A mark called by voice, timed at the onset of the word."""

    kind: Literal["marked"] = "marked"
    onset: int
