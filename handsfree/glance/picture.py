"""What one picture of the screen holds: plain words and numbers, whatever they are then painted on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Condition = Literal["running", "held", "stopped", "finished", "incomplete", "closed"]


@dataclass(frozen=True)
class Seal:
    """How the record stands."""

    entries: int = 0
    checksum: str = ""
    failure: str = ""
    """Why nothing more can be recorded; empty while it is."""


@dataclass(frozen=True)
class HearingStatus:
    """How the recogniser stands."""

    listening: bool = False
    """Whether there is a microphone or a file at all; without one the visit goes by keys."""
    voice_db: float | None = None
    """The last voice over the noise around it; None before the first."""
    noise_db: float | None = None
    """How loud it is while nobody speaks, in dB of full scale; None before it is known."""
    trouble: str = ""
    """The last notice of the recogniser or the voice."""


@dataclass(frozen=True)
class ShownValue:
    """One value with its name, and how it stands."""

    name: str
    value: str
    unit: str
    stands: str
    """In words: entering, called, accepted, rising, settled; empty when nothing is to be said."""
    at_hand: bool = False
    band: str = ""
    """What it is held against later, and what is aimed at; empty where nothing judges it alone."""
    outside: bool = False


@dataclass(frozen=True)
class TimeBar:
    """Time that runs out: what for, how much of it is left."""

    label: str
    left_ms: int
    total_ms: int

    @property
    def gone(self) -> float:
        """The share of the time that is over, from 0 to 1."""
        return 1.0 if self.total_ms <= 0 else min(1.0, max(0.0, 1 - self.left_ms / self.total_ms))


@dataclass(frozen=True)
class LabelledLine:
    """A labelled line; `alarming` ones are marked by a sign as well as a colour."""

    label: str
    text: str
    alarming: bool = False


@dataclass(frozen=True)
class Key:
    """A key that works now and what it does."""

    key: str
    does: str


@dataclass(frozen=True)
class Glance:
    """One picture."""

    condition: Condition
    banner: str
    """The condition in words; empty while the visit runs undisturbed."""
    gate: str
    """Which gate of how many, and its name."""
    headline: str
    """What to do."""
    remark: str
    """A second, smaller line below it: how it was asked again, or why the visit stopped."""
    values: tuple[ShownValue, ...]
    taken: str
    """Which set of how many, or where the values shown were taken."""
    bar: TimeBar | None
    heard: LabelledLine
    verdict: LabelledLine
    altered: LabelledLine
    seal: LabelledLine
    sound: LabelledLine
    offers: tuple[str, ...]
    answers: int
    """How many of the offers, from the first, answer the question itself; the others can be said at any moment."""
    hazards: tuple[str, ...]
    """The names of the hazards that the last of the offers call."""
    chosen: int | None
    typing: str
    keys: tuple[Key, ...]
