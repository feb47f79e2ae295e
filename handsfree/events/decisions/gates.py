"""The way through the gates: entered, passed, gone back to, not done, and what interrupts them."""

from __future__ import annotations

from typing import Literal

from handsfree.events.inputs import Record


class GateEntered(Record):
    """A gate begins."""

    kind: Literal["gate-entered"] = "gate-entered"
    at: int
    gate: str
    title: str


class GatePassed(Record):
    """A gate ends with an outcome, which leads to the next."""

    kind: Literal["gate-passed"] = "gate-passed"
    at: int
    gate: str
    outcome: str
    to: str


class WentBack(Record):
    """The person went back; nothing is un-altered by it."""

    kind: Literal["went-back"] = "went-back"
    at: int
    gate: str
    to: str


class VerdictGiven(Record):
    """A calculation's outcome with the rule and the numbers it came from."""

    kind: Literal["verdict"] = "verdict"
    at: int
    gate: str
    calculation: str
    outcome: str
    demonstrated: bool
    rule: str
    numbers: dict[str, str]
    sources: tuple[str, ...]
    sentence: str


class NotDone(Record):
    """A gate was passed undone; the reason is in the sound or the typed words."""

    kind: Literal["not-done"] = "not-done"
    at: int
    gate: str
    reason: str
    sound: str | None


class NoPhoto(Record):
    """A photo that is wanted will not be taken; the reason is in the sound or the typed words."""

    kind: Literal["no-photo"] = "no-photo"
    at: int
    gate: str
    reason: str
    sound: str | None


class Held(Record):
    """The visit is on hold."""

    kind: Literal["held"] = "held"
    at: int


class MoreTime(Record):
    """The person asked for more time: silence counts from `until`, ms of the visit."""

    kind: Literal["more-time"] = "more-time"
    at: int
    gate: str
    until: int


class CarriedOn(Record):
    """The visit goes on after a hold."""

    kind: Literal["carried-on"] = "carried-on"
    at: int


class RecheckBegun(Record):
    """What runs, the rate and every altered thing are asked again, in this order; settle clocks start afresh."""

    kind: Literal["recheck-begun"] = "recheck-begun"
    at: int
    items: tuple[str, ...]


class Rechecked(Record):
    """One of them, as answered."""

    kind: Literal["rechecked"] = "rechecked"
    item: str
    answer: str
