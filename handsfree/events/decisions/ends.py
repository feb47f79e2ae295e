"""How a visit begins and ends: what is run on what, by which versions, and what it has not shown."""

from __future__ import annotations

from typing import Literal, TypeGuard, get_args

from pydantic import Field

from handsfree.events.earlier import EarlierVisit
from handsfree.events.inputs import PersonalData, Record
from handsfree.trades import DEFAULT_TRADE

Ending = Literal["finished", "incomplete", "stopped", "made-safe", "left-as-reported"]
"""How a visit ends: restored; at its end without what it was for; stopped, until version 3; left off with all
reported as it should be; left off with something open.
"""

AtItsEnd = Literal["finished", "incomplete"]


def at_its_end(outcome: str) -> TypeGuard[AtItsEnd]:
    """Say whether a visit came to the end of its procedure, with what it was for or without."""
    return outcome in get_args(AtItsEnd)


class ProcedureStanding(Record):
    """What a procedure counted for when a visit was opened: whether an author had approved it, who, until when."""

    status: Literal["approved", "example", "draft"]
    """By an enrolled author; one that ships with the program; or none of both."""
    version: str = ""
    """As its file says it; empty where it says none."""
    by: str = ""
    """The author who approved it, by name and by key; empty where none did."""
    key: str = ""
    at: str = ""
    """When it was approved, and until when (RFC 3339)."""
    until: str = ""


class VisitOpened(Record):
    """The first event: what is run, on what, by which versions."""

    kind: Literal["visit-opened"] = "visit-opened"
    at: int
    schema_version: int
    decision_version: str
    """The fingerprint of the decision code (session/version.py)."""
    versions: dict[str, str] = Field(default_factory=dict)
    """The packages that take part in decisions, by name, as they were installed."""
    lock_sha256: str | None = None
    """The lock file that the installation was made from; None where there was none."""
    program: str
    procedure: str
    procedure_sha256: str
    sheets_sha256: dict[str, str]
    model_sha256: str | None
    day: str
    """The calendar day by the wall clock, for calibration dates; never used for settling."""
    job: str
    site: str
    technician: str
    licence: str
    appliance: str
    serial: str
    trade: str = DEFAULT_TRADE
    """The procedure's trade; records from before there were others do not say it."""
    facts: dict[str, str] = Field(default_factory=dict)
    """What the job sheet holds beside the facts of every trade, by what each is."""
    instrument: str | None = None
    """The chief instrument, where the job sheet names one."""
    instrument_serial: str | None = None
    calibrated_until: str | None = None
    """The last day on which every instrument is in date."""
    sound: Literal["", "ask", "kept", "not kept"] = ""
    """What the job sheet says of keeping the sound; empty where nothing is listened to, and in older records."""
    personal: tuple[PersonalData, ...] = ()
    """What `technician`, `licence` and the job sheet commit to; older records hold the names themselves."""
    unproven: tuple[str, ...] = ()
    """The proofs of the procedure that fail; it was led all the same, since that was asked for."""
    standing: ProcedureStanding | None = None
    """What the procedure counted for; records from before procedures were approved do not say it."""
    checkpoint: str = ""
    """The newest checkpoint of the office's log that the device had seen: the visit began no earlier than that."""
    language: str | None = None
    """The language that the visit was led in; records from before there were translations do not say it."""
    photos: bool = False
    """Whether photos are wanted where the procedure says so: there is a way for them."""
    earlier: tuple[EarlierVisit, ...] = ()
    """What was carried in of earlier visits to this appliance, the newest first."""
    unheard: bool = False
    """Whether nothing here hears that language, so that the visit was begun with the keys alone, and said so."""
    enrolled: bool = False
    """Whether the technician's enrolment weighs what is heard; older records were all heard without one."""


class SoundConsent(Record):
    """Whether everybody who may be heard agreed that the sound is kept, as the technician answered."""

    kind: Literal["sound-consent"] = "sound-consent"
    at: int
    kept: bool


WhyLacking = Literal["not done", "no reading", "not judged", "turned since"]


class Lacking(Record):
    """Something that the procedure is for and that the visit did not show."""

    what: str
    """As the procedure says it."""
    why: WhyLacking


class VisitClosed(Record):
    """The last event: nothing follows it."""

    kind: Literal["visit-closed"] = "visit-closed"
    at: int
    outcome: Ending
    still_altered: tuple[str, ...]
    not_done: tuple[str, ...]
    readings: int
    verdicts: dict[str, str]
    lacking: tuple[Lacking, ...] = ()
    """What it was for and did not show."""
