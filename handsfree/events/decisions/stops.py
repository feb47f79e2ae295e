"""Stops, and the steps that are walked after one."""

from __future__ import annotations

from typing import Literal

from handsfree.events.decisions.reading import ReadingRecord
from handsfree.events.inputs import Record
from handsfree.lexicon.stops import People
from handsfree.questions.stopped import Way

StoppedBy = Literal["voice", "keys", "values", "gate", "silence"]
"""What stopped the work: a phrase heard or typed, called values, a written stop, or no answer."""

Leads = Literal["on", "more", "again", "off"]
"""Where an answer after a stop leads: the step is passed; read once more; asked again; the work does not go on."""

StepsPart = Literal["outside", "re-entry", "relight", "way-down"]
"""Of whoever left; before anything goes on; before anything fires; when the work is left off."""

ReEntry = Literal["walked", "misheard", "false-stop", "relit"]
"""By all steps; by the shortest, since it was misheard; a bare cry was none; the steps owed are walked."""


class WentOut(Record):
    """What runs went out at a held rate; the second time in a visit it stops the work."""

    kind: Literal["went-out"] = "went-out"
    at: int
    gate: str
    expected: bool = False
    """The gate's own test puts it out; then it counts for nothing."""


class Stopped(Record):
    """Make-safe: the visit stops here; things may stay altered."""

    kind: Literal["stopped"] = "stopped"
    at: int
    gate: str
    why: str
    detail: str
    script: str
    source: str
    still_altered: tuple[str, ...]
    by: StoppedBy | None = None
    """Records before version 4 do not say it."""
    hazards: tuple[str, ...] = ()
    """All stops of the trade that are open now, the gravest first."""
    people: People = "stay"
    """Whether everybody leaves."""
    called: tuple[ReadingRecord, ...] = ()
    """The values that passed a limit."""
    ways: tuple[Way, ...] = ()
    """How the visit may go on."""


class StepsBegun(Record):
    """After a stop: steps that are now walked, one by one."""

    kind: Literal["steps-begun"] = "steps-begun"
    at: int
    part: StepsPart
    steps: tuple[str, ...]
    how: ReEntry = "walked"


class StepReported(Record):
    """One answer after a stop: a person's report, nothing that the program knows."""

    kind: Literal["step-reported"] = "step-reported"
    at: int
    step: str
    answer: str
    leads: Leads
    stays_open: bool = False
    """On the way down: what was asked is not as it should be left, or nobody knows."""
    thing: str | None = None
    """The thing whose state is reported."""
    text: str = ""
    """The typed words, where it was answered in free words."""
    sound: str | None = None
    """SHA-256 of the spoken ones."""
    reading: ReadingRecord | None = None


class StepTakenBack(Record):
    """The last answer after a stop was called wrong: it counts no longer, and its step is asked again."""

    kind: Literal["step-taken-back"] = "step-taken-back"
    at: int
    step: str
    thing: str | None = None
    """The thing whose state was reported."""


class StepsOwed(Record):
    """Steps that must be walked before anything fires again."""

    kind: Literal["steps-owed"] = "steps-owed"
    at: int
    steps: tuple[str, ...]
    hazards: tuple[str, ...]


class ReEntered(Record):
    """The work goes on after a stop: what runs and what is altered is asked again."""

    kind: Literal["re-entered"] = "re-entered"
    at: int
    gate: str
    """Where the visit goes on: the gate that was stopped at, or the one that led to a stop gate."""
    how: ReEntry
    owed: tuple[str, ...] = ()
    """Steps that are still to be walked before anything fires."""


class Alerted(Record):
    """Nobody answered at something that fires: somebody else is to be told, by the job sheet."""

    kind: Literal["alerted"] = "alerted"
    at: int
    gate: str
    who: str
    number: str


class Cleared(Record):
    """Until version 3: the person says that the hazard is cleared and why; their words, not ours."""

    kind: Literal["cleared"] = "cleared"
    at: int
    gate: str
    """Where the visit goes on: the gate that was stopped at, or the one that led to a stop gate."""
    reason: str
    sound: str | None
