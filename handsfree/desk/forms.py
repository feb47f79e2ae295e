"""What travels with a trade: its supervisor's checklist and the form of its report, read from the trade's folder.

`checklist.yaml` and `report.yaml` of a trade stand in `handsfree/trades/<trade>/`; `FORMS.md` above explains their
keys. Those of an author's own come with the record. A trade that lacks one of them, or that nobody knows, gets the
plain one beside this file: fewer lines, and none of another trade.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from handsfree.documents import Document, read_document, validate
from handsfree.procedure.trades import MOST_KEPT, TradeData
from handsfree.trades.supervision import Item

Model = TypeVar("Model", bound=BaseModel)
AsTuple = BeforeValidator(lambda value: tuple(value) if isinstance(value, list) else value)
Texts = Annotated[tuple[str, ...], AsTuple]

TRADES = Path(__file__).parents[1] / "trades"
PLAIN = Path(__file__).parent
OF_ALL_TRADES = ("names", "outcomes", "happenings", "stops", "across")
"""Keys of a report's form that the desk puts together of all trades that ship: an author's are not read."""
_CHECKLIST, _REPORT = "plain-checklist.yaml", "plain-report.yaml"


class Form(BaseModel):
    """The strictness that all parts share."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class ChecklistLine(Form):
    """A line of the checklist with the things in it."""

    line: str
    items: Annotated[tuple[Item, ...], AsTuple]


class Checklist(Form):
    """What a supervisor verifies of this trade."""

    checklist: Annotated[tuple[ChecklistLine, ...], AsTuple]


class Headings(Form):
    """The report's headings."""

    measured: str = "Before and after"
    judged: str = "Judged"
    others: str = "Other readings"
    advice: str = "Found and advised"
    not_done: str = "Not done"
    put_back: str = "Put back"
    cautions: str = "Cautions"
    record: str = "The record"


class Fact(Form):
    """A fact of the visit's opening or of the sheets; one that a blank has no value for is left out."""

    says: str
    text: str
    """With blanks: {opened.…}, {job.…} or {appliance.…}."""
    otherwise: str = ""
    """What to write when the sheets cannot be read; the fact is left out when this is empty."""


class Computed(Form):
    """A value that a calculation gives, shown like a reading."""

    calculation: str
    says: str
    unit: str = ""
    """A UCUM code."""


class MeasuredForm(Form):
    """What is told as found and as left."""

    by: Literal["rate", "point", "visit"] = "point"
    """One pair for each rate that is held, for each measurement point, or for the whole visit."""
    rates: Texts = ()
    """For `by: rate`: the rates, in order."""
    quantities: Texts = ()
    """The readings; the first is the one that the work sets."""
    computed: Annotated[tuple[Computed, ...], AsTuple] = ()
    """Values that calculations give."""
    judged_by: Texts = ()
    """The calculations that judge them, the weightiest first."""
    layout: Literal["columns", "rows"] = "columns"
    """Whether found and left of each measurement point are columns or rows of the table."""


class Axis(Form):
    """One plot of the chart: readings of a quantity, or values of a calculation, over time."""

    quantity: str = ""
    calculation: str = ""
    label: str
    height: int = Field(default=96, ge=40, le=400)
    room: Annotated[float, BeforeValidator(float)] = 1.0
    """The least room above and below the values, in the axis's unit."""
    maker_band: str = ""
    """Where the sheets hold the maker's band; limits written in the procedure are drawn without it."""


class LeaveOut(Form):
    """Visits that a question leaves out: where the sheets hold a value."""

    sheet: str
    is_: str = Field(alias="is")


class Across(Form):
    """A question across visits."""

    name: str
    title: str
    means: str
    kind: Literal["drift", "spread"]
    """drift: as found minus as left on the visit before; spread: the mean of each instrument."""
    quantity: str
    column: str
    """What the answer's columns call it."""
    counted: str = "readings"
    """What the answer's column of numbers counts."""
    least: int = Field(default=1, ge=1)
    """How many of them an instrument needs to be told of."""
    leave_out: LeaveOut | None = None


class NoticeForm(Form):
    """The warning notice of a visit that was left off."""

    title: str = "Warning notice"
    do_not_use: str = ""
    """What must not be used, and until when; `until` of the report when left out."""
    number: str = "{job.emergency_number}"
    """Whom to call, with blanks as in facts."""
    otherwise: str = "The emergency number of the supplier or of the place; the job sheet names none."
    """What to write when the blanks have no value."""


class PagesCheck(Form):
    """A check that the customer's page tells: with its answer, or among what was not checked."""

    says: str
    gates: Texts
    """The gates that ask for it, by name; the last passage of any of them tells."""
    own: bool = False
    """Whether only the visits that ask for it tell it at all: it belongs to their work, and no other lacks it."""


class NumberTold(Form):
    """A number of a calculation's verdict that the customer's page tells, beside what it is judged against."""

    calculation: str
    number: str
    says: str
    unit: str
    beside: str = ""
    """The number of the verdict that it stands beside."""
    beside_says: str = ""
    """What that number is called."""
    basis: str = ""
    """The number of the verdict that names its basis."""


class CustomerForm(Form):
    """What the customer's page tells beside the report."""

    checks: Annotated[tuple[PagesCheck, ...], AsTuple] = ()
    """All that a visit of this trade can check: what this one did not is told as plainly as what it did."""
    numbers: Annotated[tuple[NumberTold, ...], AsTuple] = ()
    signing: Texts = ()
    """The gates that ask for signatures."""
    next_visit: str = "{job.next_visit}, as agreed on the job sheet"
    """With blanks as in facts."""
    otherwise: str = "At the maker's interval; no day stands on the job sheet."
    """What to write when the blanks have no value."""


class LastTimeForm(Form):
    """What the next visit to the same appliance is told of this one."""

    advised: Texts = ("advised",)
    """Answers, by name, that leave something to do even when the visit came to its end."""
    told: Texts = ()
    """Gates, by name, whose few words tell what was found or done: they leave nothing to do."""


class ReportForm(Form):
    """How visits of this trade are reported."""

    headings: Headings = Headings()
    facts: Annotated[tuple[Fact, ...], AsTuple]
    names: dict[str, str] = Field(default_factory=dict)
    """How a quantity is printed where its name alone does not say it."""
    outcomes: dict[str, str] = Field(default_factory=dict)
    """How an outcome of a calculation is printed."""
    stops: dict[str, str] = Field(default_factory=dict)
    """Why the work stopped, in words, for the trade's own stops."""
    happenings: dict[str, str] = Field(default_factory=dict)
    """How an event is told in the talk: its kind, and the words."""
    adjusters: bool = False
    """Whether the work is told in turns of adjusters."""
    measured: MeasuredForm = MeasuredForm()
    chart: Annotated[tuple[Axis, ...], AsTuple] = ()
    across: Annotated[tuple[Across, ...], AsTuple] = ()
    notice: NoticeForm = NoticeForm()
    customer: CustomerForm = CustomerForm()
    last_time: LastTimeForm = LastTimeForm()
    until: str
    """What must stay as it is until a warning is dealt with."""
    stay_out: str = "Stay out until the emergency service allows going in."
    """What is said before it where everybody was sent out and nobody has begun the steps back in."""
    cautions: Texts
    signatures: Texts
    """The lines to sign on, with blanks as in facts."""


@dataclass(frozen=True)
class Forms:
    """The forms of one trade; `checklist_at` gives the place of each thing on the list, for messages."""

    trade: str
    checklist: Checklist
    report: ReportForm
    checklist_at: Document


def known() -> tuple[str, ...]:
    """Return the trades that have a form of their own, by name."""
    return tuple(
        sorted(
            folder.name
            for folder in TRADES.iterdir()
            if (folder / "checklist.yaml").is_file() or (folder / "report.yaml").is_file()
        )
    )


@cache
def forms_of(trade: str) -> Forms:
    """Return a trade's forms, the plain ones where it has none; raise Problem at the first fault of a file."""
    own = TRADES / trade if trade in known() else PLAIN
    checklist, listed = _read(Checklist, own / "checklist.yaml", PLAIN / _CHECKLIST)
    report, _ = _read(ReportForm, own / "report.yaml", PLAIN / _REPORT)
    return Forms(trade, checklist, report, listed)


@lru_cache(maxsize=MOST_KEPT)
def forms_of_own(trade: TradeData) -> Forms:
    """Return the forms that an author's own trade brings, the plain ones for those it lacks; Problem as above."""
    brought = trade.folder.documents
    checklist, listed = _valid(Checklist, brought.get("checklist.yaml") or read_document(PLAIN / _CHECKLIST))
    report, _ = _valid(ReportForm, brought.get("report.yaml") or read_document(PLAIN / _REPORT))
    return Forms(trade.name, checklist, report, listed)


def _read(model: type[Model], path: Path, plain: Path) -> tuple[Model, Document]:
    return _valid(model, read_document(path if path.is_file() else plain))


def _valid(model: type[Model], document: Document) -> tuple[Model, Document]:
    return validate(model, document), document


@cache
def names() -> Mapping[str, str]:
    """Return how quantities are printed, of all trades together."""
    return {name: said for trade in known() for name, said in forms_of(trade).report.names.items()}


@cache
def outcomes() -> Mapping[str, str]:
    """Return how outcomes are printed, of all trades together."""
    return {name: said for trade in known() for name, said in forms_of(trade).report.outcomes.items()}


@cache
def happenings() -> Mapping[str, str]:
    """Return how events are told, of all trades together."""
    return {kind: said for trade in known() for kind, said in forms_of(trade).report.happenings.items()}


@cache
def stops() -> Mapping[str, str]:
    """Return why the work stopped, in words, for the stops of all trades together."""
    return {name: said for trade in known() for name, said in forms_of(trade).report.stops.items()}
