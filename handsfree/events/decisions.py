"""What a visit decides, as it is recorded. The state of a visit is these events applied, nothing else."""

from __future__ import annotations

from typing import Annotated, Literal, TypeGuard, get_args

from pydantic import Field

from handsfree.events.inputs import PersonalData, Record
from handsfree.lexicon.stops import People
from handsfree.measurement.reading import Reading, recorded
from handsfree.questions import Question
from handsfree.questions.stopped import Way
from handsfree.trades import DEFAULT_TRADE

Direction = Literal["clockwise", "counter-clockwise"]

StoppedBy = Literal["voice", "keys", "values", "gate", "silence"]
"""What stopped the work: a phrase heard or typed, called values, a written stop, or no answer."""

Leads = Literal["on", "more", "again", "off"]
"""Where an answer after a stop leads: the step is passed; read once more; asked again; the work does not go on."""

Ending = Literal["finished", "incomplete", "stopped", "made-safe", "left-as-reported"]
"""How a visit ends: restored; at its end without what it was for; stopped, until version 3; left off with all
reported as it should be; left off with something open.
"""

AtItsEnd = Literal["finished", "incomplete"]


def at_its_end(outcome: str) -> TypeGuard[AtItsEnd]:
    """Say whether a visit came to the end of its procedure, with what it was for or without."""
    return outcome in get_args(AtItsEnd)


StepsPart = Literal["outside", "re-entry", "relight", "way-down"]
"""Of whoever left; before anything goes on; before anything fires; when the work is left off."""

ReEntry = Literal["walked", "misheard", "false-stop", "relit"]
"""By all steps; by the shortest, since it was misheard; a bare cry was none; the steps owed are walked."""


class ReadingRecord(Record):
    """A reading: its exact decimal as text, its UCUM unit, its resolution."""

    quantity: str
    value: str
    """A decimal, or "over range" or "no reading" as the display showed."""
    unit: str
    resolution: str
    called: str = ""
    """The decimal as it was called, where it was called in another unit; `value` is its conversion."""
    called_unit: str = ""
    """The UCUM unit it was called in, where that is another."""

    @property
    def reading(self) -> Reading:
        """The number as it was read; Problem where the display showed none."""
        return recorded(self.quantity, self.value, self.unit, self.resolution)

    @property
    def shown(self) -> tuple[str, str]:
        """The value and the unit as the person knows them."""
        return (self.called, self.called_unit) if self.called_unit else (self.value, self.unit)


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
    unheard: bool = False
    """Whether nothing here hears that language, so that the visit was begun with the keys alone, and said so."""


class SoundConsent(Record):
    """Whether everybody who may be heard agreed that the sound is kept, as the technician answered."""

    kind: Literal["sound-consent"] = "sound-consent"
    at: int
    kept: bool


class Said(Record):
    """Something for the tool to say that asks nothing."""

    kind: Literal["said"] = "said"
    text: str


class Asked(Record):
    """A question: the tool says it and then expects an answer to it."""

    kind: Literal["asked"] = "asked"
    at: int
    question: Question
    text: str
    attempt: int = 1
    until: int | None = None
    """For a wait: when it ends."""


class ToneSounded(Record):
    """A tone: attention before readings, or the alarm of an unanswered firing gate."""

    kind: Literal["tone"] = "tone"
    name: Literal["attention", "alarm"]


class Understood(Record):
    """Which meaning was chosen from what was heard or typed, and what spoke against it."""

    kind: Literal["understood"] = "understood"
    meaning: str
    doubt: str = ""


class NotUnderstood(Record):
    """Nothing that the question accepts; counted for each question."""

    kind: Literal["not-understood"] = "not-understood"
    why: str


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


class Marked(Record):
    """A mark called by voice, timed at the onset of the word."""

    kind: Literal["marked"] = "marked"
    onset: int


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


class Noted(Record):
    """A note; it is kept as sound or typed words."""

    kind: Literal["noted"] = "noted"
    at: int
    text: str
    sound: str | None
    gate: str = ""
    """Where it belongs to an answer, that answer's gate."""
    answer: str = ""
    """The answer as it is said, such as "advised"."""


class AnsweredBy(Record):
    """An answer was given by another than the technician: a second person by their number, or the customer."""

    kind: Literal["answered-by"] = "answered-by"
    at: int
    gate: str
    role: Literal["second person", "customer"]
    name: str = ""
    """A second person's, as the job sheet has it beside the number that was called."""


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


Decision = Annotated[
    VisitOpened
    | SoundConsent
    | Said
    | Asked
    | ToneSounded
    | Understood
    | NotUnderstood
    | GateEntered
    | GatePassed
    | WentBack
    | ReadBack
    | ReadingCorrected
    | ReadingRefused
    | ReadingAccepted
    | RateCalled
    | SetTaken
    | SetVoided
    | PairDoubted
    | SettlingJudged
    | ValueSettled
    | FoundValue
    | Altered
    | Restored
    | Marked
    | VerdictGiven
    | Advised
    | TurnCalled
    | ScrewNamed
    | TurnWatched
    | Turned
    | NotDone
    | NoPhoto
    | Noted
    | AnsweredBy
    | Held
    | MoreTime
    | CarriedOn
    | RecheckBegun
    | Rechecked
    | WentOut
    | Stopped
    | Alerted
    | StepsBegun
    | StepReported
    | StepTakenBack
    | StepsOwed
    | ReEntered
    | Cleared
    | VisitClosed,
    Field(discriminator="kind"),
]
