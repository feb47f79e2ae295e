"""What earlier visits to the same appliance come to, as the first entry of the next visit holds it.

It is carried in whole, so that a visit is decided, and decided again, from its own record alone.
"""

from __future__ import annotations

from handsfree.events.inputs import PersonalData, Record


class EarlierReading(Record):
    """A value as an earlier visit left it, in the quantity's own unit."""

    point: str
    """The measurement point that it was kept under."""
    rate: str
    """The rate that was held; empty where none was."""
    quantity: str
    value: str
    """A decimal."""
    unit: str
    resolution: str
    left: bool
    """As left by a visit that came to its end, with nothing turned since; else as read last."""


class EarlierAnswer(Record):
    """What an earlier visit found, advised or fitted."""

    gate: str
    """The gate's id in its own file: visits that share a part share it."""
    title: str
    answer: str
    """As it is said, such as "advised"."""
    to_do: bool
    """It left something to do, and no later visit that is carried in answered it otherwise."""
    text: str = ""
    """The words told with it: they lie beside the record, and this holds what commits to them."""
    words: PersonalData | None = None
    spoken: bool = False
    """Whether the words may be said: none that hold a phrase that stops the work."""


class EarlierVisit(Record):
    """One earlier visit: which record it was read from, and what of it the next one needs."""

    identity: str
    """SHA-256 of the first line of its record, which names that visit."""
    count: int
    """How many entries it had, and the checksum of the last."""
    checksum: str
    vouched: str
    """Who vouches for the key that sealed it: the state of its anchor."""
    day: str
    procedure: str
    title: str
    outcome: str
    """How it ended; "open" when it was not closed."""
    lacking: tuple[str, ...]
    """What it was for and did not show."""
    facts: dict[str, str]
    """The facts of its job that only its trade has."""
    readings: tuple[EarlierReading, ...]
    answers: tuple[EarlierAnswer, ...]

    @property
    def source(self) -> str:
        """Where this was carried in from, so that the record can be found again."""
        nobody = ", for which nobody vouched" if self.vouched == "unanchored" else ""
        return f"{self.title} of {self.day} ({self.count} entries, checksum {self.checksum}{nobody})"


class Compared(Record):
    """One value beside what the visit before left, in the quantity's own unit."""

    quantity: str
    unit: str
    now: str
    last: str
    day: str
    """The day of the visit that left it."""
    left: bool
    """As left; else as read last."""
    change: str
    unusual: str
    """Why the change is unusual, with where that rule comes from; empty where it is not."""
