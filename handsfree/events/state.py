"""The state of a visit: all that a decision may depend on. `handsfree/session/apply.py` alone changes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Any, Literal

from handsfree.events.decisions import Direction, Ending, Lacking, ReadingRecord, ReEntry, StepsPart
from handsfree.events.devices import HEARING_DEVICES
from handsfree.events.earlier import EarlierVisit
from handsfree.events.inputs import InstrumentRow
from handsfree.lexicon.stops import People
from handsfree.questions import Question
from handsfree.questions.nothing import Nothing
from handsfree.questions.stopped import Way

_NOTHING: Mapping[Any, Any] = MappingProxyType({})


def _nothing() -> Mapping[Any, Any]:
    return _NOTHING


@dataclass(frozen=True)
class ReadingSet:
    """One set of accepted values with its time."""

    number: int
    at: int
    values: Mapping[str, ReadingRecord] = field(default_factory=_nothing)
    complete: bool = False
    doubted: str = ""
    """Why values of it that are tied to each other cannot all be true."""


@dataclass(frozen=True)
class Pending:
    """Values called but not accepted: by quantity, with those to be called a second time."""

    values: Mapping[str, ReadingRecord] = field(default_factory=_nothing)
    doubtful: tuple[str, ...] = ()
    unsure: bool = False
    """They were heard in some doubt: silence accepts none of them."""
    corrected: frozenset[str] = frozenset()
    contested: frozenset[str] = frozenset()
    """Quantities that were asked for once because the instrument shows otherwise: what is called now stands."""


@dataclass(frozen=True)
class Settled:
    """A settled value and the standard uncertainty that settling leaves."""

    reading: ReadingRecord
    uncertainty: Decimal


@dataclass(frozen=True)
class ValueKept:
    """A value that settled, in the history of an adjustment."""

    kept_at: str
    quantity: str
    value: Decimal


@dataclass(frozen=True)
class AdjusterTurned:
    """A turn of an adjuster, in the history of an adjustment."""

    rate: str
    """The adjuster: that of this rate."""
    direction: Direction
    eighths: int
    at: int


@dataclass(frozen=True)
class OpenTurn:
    """A turn that was advised and may have been made, until it is known what was; or one that must be undone."""

    gate: str
    """The gate that advised it."""
    rate: str
    """The adjuster advised: that of this rate."""
    direction: Direction
    eighths: int
    screw: str
    """The adjuster that was turned, by its rate, as far as is known; empty for one not on the sheet."""
    named: bool = False
    """The person said which adjuster it was."""
    called: tuple[Direction, int] | None = None
    """What was called last."""
    challenged: int = 0
    """How often in a row it was called unlike what was asked for."""
    owed: int = 0
    """Eighths that are to be undone, clockwise positive."""
    watched: bool = False
    """What a turn like that endangers was read since."""
    unanswered: bool = False
    """The display showed no reading, or "no turn" was the answer to what must be undone: once only."""


Learned = ValueKept | AdjusterTurned
"""What an adjustment learns from, in its order."""

Status = Literal["new", "running", "stopped", "closed"]


@dataclass(frozen=True)
class Interrupted:
    """The question that a note interrupted, its text, and the end of its wait."""

    question: Question
    text: str
    until: int | None


@dataclass(frozen=True)
class Halt:
    """A stop that the visit has not come back from: what is open, and which step is asked."""

    hazards: tuple[str, ...]
    """The stops of the trade that are open, the gravest first."""
    script: str
    """The order in force."""
    people: People
    ways: tuple[Way, ...] = ()
    part: StepsPart | None = None
    """The steps that are being walked; None while the order is in force."""
    left: tuple[str, ...] = ()
    """Those still to be answered, the one at hand first."""
    how: ReEntry = "walked"
    taken: int = 0
    """Readings of the step at hand that were as they must be."""
    called: tuple[str, ...] = ()
    """The quantities whose values passed a limit."""
    read: Mapping[str, ReadingRecord] = field(default_factory=_nothing)
    """Those called once more."""
    things: tuple[str, ...] = ()
    """On the way down: the things whose state is still to be reported."""
    stays_open: bool = False
    """On the way down: something reported is not as it should be left."""
    before: Halt | None = None
    """As it was before the last answer that may be taken back."""


@dataclass(frozen=True)
class State:
    """Everything a decision may depend on."""

    status: Status = "new"
    day: str = ""
    now: int = 0
    gate: str = ""
    entered_at: int = 0
    """When it was entered last."""
    question: Question = field(default_factory=Nothing)
    text: str = ""
    attempt: int = 0
    doubt: str = ""
    """What spoke against the last understanding."""
    asked_at: int = 0
    silent_since: int = 0
    until: int | None = None
    speaking: bool = False
    unsaid: bool = False
    """The question at hand is still being said: its silence is counted from the end of that."""
    by_keys: bool = False
    """The last answer came by keys: who reads and presses is not silent after a second and a half."""
    cut_off: bool = False
    """A person spoke over it, and it fell silent before its end."""
    alarmed: bool = False
    signed: frozenset[str] = frozenset()
    """Who has signed on the phone's page."""
    photos_wanted: bool = False
    """Whether photos are wanted at all: there is a way for them."""
    photos: Mapping[str, int] = field(default_factory=_nothing)
    """Gate -> how many photos came for it."""
    no_photo: frozenset[str] = frozenset()
    """The gates whose photo will not be taken, as the person said."""
    sound_kept: bool = True
    """Whether the sound of utterances is kept: not before it was agreed to, where that is asked."""
    consent_due: bool = False
    """That is still to be asked."""
    granted_until: int = 0
    """Silence counts from here, when the person asked for more time."""
    held_since: int | None = None
    entered: Mapping[str, int] = field(default_factory=_nothing)
    passed: tuple[str, ...] = ()
    passed_by: tuple[str, ...] = ()
    """By which outcome each of them was left."""
    outcomes: Mapping[str, str] = field(default_factory=_nothing)
    """How each gate passed was left last."""
    altered: Mapping[str, str] = field(default_factory=_nothing)
    """Thing -> the gate that altered it, in the order they were altered."""
    altered_at: Mapping[str, int] = field(default_factory=_nothing)
    """Thing -> when it was last altered."""
    found: Mapping[str, ReadingRecord] = field(default_factory=_nothing)
    sets: Mapping[str, tuple[ReadingSet, ...]] = field(default_factory=_nothing)
    settled: Mapping[str, Mapping[str, Settled]] = field(default_factory=_nothing)
    pending: Pending = field(default_factory=Pending)
    rows: tuple[InstrumentRow, ...] = ()
    """The instrument's last rows, which called values are compared with."""
    instrument_told: bool = False
    """It was told that the instrument is silent, once for the visit."""
    pair_refused: bool = False
    pair_doubted: str = ""
    """Why tied values of the set being called, called twice, cannot all be true."""
    rate_called: str | None = None
    marks: tuple[int, ...] = ()
    last_change: int = 0
    """When an adjuster, the rate, the cover or the probe was last changed."""
    turn: OpenTurn | None = None
    """The turn that must be told, or undone, before its gate is left."""
    history: tuple[Learned, ...] = ()
    """Settled values and turns in order, for the advice."""
    verdicts: Mapping[str, str] = field(default_factory=_nothing)
    not_done: tuple[str, ...] = ()
    stopped_at: int | None = None
    """When the work was last stopped."""
    old_before: int = 0
    """The end of the last long pause: no advice is given by what was read before it."""
    stopped_before: int = 0
    """The end of the last long stop: no verdict is given on what was read of the same things before it."""
    halt: Halt | None = None
    owed: tuple[str, ...] = ()
    """Steps after a stop that must be walked before anything fires."""
    owed_for: tuple[str, ...] = ()
    """The stops that they follow."""
    stopped_by: frozenset[str] = frozenset()
    """The stops that were real and from which the visit came back."""
    misheard_at: frozenset[str] = frozenset()
    """The gates at which a stop was called misheard."""
    went_out: int = 0
    """How often what runs went out at a held rate."""
    rechecks: tuple[str, ...] = ()
    rate_lost: str = ""
    """Why the rate is not held any more, as a recheck found it."""
    accepted: int = 0
    last_accepted: ReadingRecord | None = None
    earlier: tuple[EarlierVisit, ...] = ()
    """What was carried in of earlier visits, the newest first."""
    compared: Mapping[str, str] = field(default_factory=_nothing)
    """Where a value was read -> the measurement point at which what was left there last time was told."""
    interrupted: Interrupted | None = None
    """What a note leads back to."""
    outcome: Ending | Literal[""] = ""
    """How it ended; empty while it goes on."""
    lacking: tuple[Lacking, ...] = ()
    """What it was for and did not show, once it has ended."""
    lost: frozenset[str] = field(default_factory=frozenset)

    @property
    def moves(self) -> tuple[AdjusterTurned, ...]:
        """The turns made so far."""
        return tuple(one for one in self.history if isinstance(one, AdjusterTurned))

    @property
    def deaf(self) -> bool:
        """Whether nothing can be heard at the moment, so that silence means nothing."""
        return bool(self.lost & HEARING_DEVICES)

    def as_found_open(self, thing: str) -> bool:
        """Whether what is read of a thing is as found: once it was altered, put back or not, nothing is."""
        return thing not in self.altered_at

    def readings(self, kept_at: str) -> tuple[ReadingSet, ...]:
        """Return the complete sets kept under a name."""
        return tuple(taken for taken in self.sets.get(kept_at, ()) if taken.complete)

    def doubted(self, kept_at: str) -> str:
        """Return why values kept under a name cannot all be true: the last set there says it for now."""
        taken = self.readings(kept_at)
        return taken[-1].doubted if taken else ""
