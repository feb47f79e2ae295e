"""The language of procedures: what an author may write in a YAML file.

Every class here is one kind of block; its docstring and those of its fields are the documentation that
authors see in their editor. Unknown keys are errors.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from handsfree.blocks import Block, Exact, Name, Names, Phrase, Phrases, Prompt, Target, Texts, as_tuple
from handsfree.trades import DEFAULT_TRADE

LANGUAGE_VERSION = 1


class Thing(Block):
    """Something a gate changes for the work and that must be put back."""

    said: str
    """Its name as the tool says it."""
    altered: Phrase
    """The word for its changed state, as both sides say it: "removed", "raised", "in"."""
    restored: Phrase
    """The word for its state as found: "fitted", "restored", "out"."""
    value: str | None = None
    """The quantity of its setting when it has one; the value found must be captured before it is altered."""

    @model_validator(mode="after")
    def _apart(self) -> Thing:
        if self.altered == self.restored:
            raise ValueError("altered and restored must be different words")
        return self


class GateBlock(Block):
    """What every gate has."""

    id: Name
    """Its name, unique in the file; included gates are called `prefix/gate` once flattened."""
    title: str = Field(min_length=3, max_length=60)
    """What it is, in a few words: spoken for "where am I", shown on every page."""
    source: str | None = None
    """Where its content comes from: a standard, a manual, or 'common practice, no source'."""
    firing: bool = False
    """Whether the burner fires here: then silence for a minute is an alarm and then stops the visit."""
    needs: dict[Name, Phrase] = Field(default_factory=dict)
    """Things and the state each must be in before this gate is entered: `{cover: fitted, probe: in}`."""
    at_most: int | None = Field(default=None, ge=1, le=50)
    """How often the gate may be entered in one visit; a loop needs one."""
    exhausted: Target | None = None
    """Where it leads when it would be entered once too often."""
    not_done: bool | Target = True
    """Whether "not done, because" may pass it (to `then`), or the gate it then leads to."""
    then: Target | None = None
    """Where it leads; the next gate of the file when left out."""

    @model_validator(mode="after")
    def _bounded(self) -> GateBlock:
        if (self.at_most is None) != (self.exhausted is None):
            raise ValueError("at_most and exhausted belong together: give both or neither")
        return self


class ConfirmGate(GateBlock):
    """Something the person does and then says so."""

    kind: Literal["confirm"]
    prompt: Prompt
    done: Phrases = ()
    """What the person says when it is done, any one of these; the language's own word when left out ("done")."""
    alters: Names = ()
    """Things that are altered once this is done."""
    restores: Names = ()
    """Things without a value that are put back once this is done; it is read back before it counts."""


class Answer(Block):
    """One answer to a choice and where it leads."""

    heard: Phrases
    then: Target


class ChoiceGate(GateBlock):
    """A question with a few answers, each leading somewhere."""

    kind: Literal["choice"]
    prompt: Prompt
    answers: dict[Name, Answer] = Field(min_length=2)


class Ask(Block):
    """One quantity to be called out."""

    quantity: str
    """Its name in the catalogue: co2, o2, co, flue_temperature, ..."""
    decimals: int | None = Field(default=None, ge=0, le=4)
    """Digits after the point that the instrument shows; the catalogue's when left out."""
    low: Exact | None = None
    """Below this the value is not believed and asked again; stop limits come first."""
    high: Exact | None = None
    """Above this the value is not believed and asked again; stop limits come first."""

    @model_validator(mode="after")
    def _ordered(self) -> Ask:
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        return self


class Settle(Block):
    """How long to wait and how many sets prove that readings have stopped moving."""

    wait_seconds: int = Field(ge=90, le=900)
    """Silence before the first set; the maker's wait when that is longer. Never under 90 s."""
    sets: int = Field(default=3, ge=3, le=10)
    """How many sets in a row are judged."""
    apart_seconds: int = Field(default=30, ge=10, le=300)
    """Time between two sets."""
    most_sets: int = Field(default=8, ge=3, le=20)
    """After this many sets it is called unsettled."""
    source: str
    """Where these numbers come from."""

    @model_validator(mode="after")
    def _enough(self) -> Settle:
        if self.most_sets < self.sets:
            raise ValueError("most_sets must not be below sets")
        return self


class ReadingsGate(GateBlock):
    """Values called out in one breath, in the order asked; once, or in sets until settled."""

    kind: Literal["readings"]
    prompt: Prompt
    ask: Annotated[tuple[Ask, ...], BeforeValidator(as_tuple), Field(min_length=1, max_length=5)]
    at: Name
    """The name under which the values are kept: verdicts ask for them by it."""
    rate: Literal["maximum", "minimum"] | None = None
    """The rate the burner is held at; it is called with each set."""
    settle: Settle | None = None
    unsettled: Target | None = None
    """Where it leads when the readings do not settle."""
    dropped_back: Target | None = None
    """The gate that holds the rate; "burner out" and "dropped back" void the set and lead there."""
    captures: Name | None = None
    """The thing whose value as found is called here, before it is altered."""

    @model_validator(mode="after")
    def _together(self) -> ReadingsGate:
        if (self.settle is None) != (self.unsettled is None):
            raise ValueError("settle and unsettled belong together: give both or neither")
        if (self.rate is None) != (self.dropped_back is None):
            raise ValueError("rate and dropped_back belong together: give both or neither")
        if self.captures and len(self.ask) != 1:
            raise ValueError("a gate that captures asks for one quantity")
        return self


class TimedGate(GateBlock):
    """A time taken by voice: "mark" at the pointer, "mark" again after a called volume."""

    kind: Literal["timed"]
    prompt: Prompt
    volume: Ask
    """The volume the meter shows between the marks, called first."""
    at: Name
    least_seconds: int = Field(default=20, ge=5)
    """A shorter time is too coarse to use and is taken again."""


class Limits(Block):
    """Limits that stand in the procedure itself: those of a regulation, not of a maker."""

    quantity: str
    """What is judged, by its name in the catalogue."""
    low: Exact | None = None
    """The least value allowed, in the quantity's unit; open when left out."""
    high: Exact | None = None
    """The greatest value allowed; open when left out."""
    accuracy: Exact | None = None
    """The instrument's expanded uncertainty (k = 2) in the same unit; without it the value is taken as it is."""
    source: str = Field(min_length=1)
    """Where the limits are published."""

    @model_validator(mode="after")
    def _sensible(self) -> Limits:
        if self.low is None and self.high is None:
            raise ValueError("give low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        return self


class VerdictGate(GateBlock):
    """A registered calculation over readings and sheets, which branches; nothing is asked."""

    kind: Literal["verdict"]
    calculation: str
    """The calculation's registered name; formulas never stand in a procedure."""
    rate: Literal["maximum", "minimum"] | None = None
    """The rate it judges, for calculations whose limits depend on the rate."""
    using: dict[Name, Name] = Field(default_factory=dict)
    """Its inputs by name: where the readings were kept."""
    limits: Limits | None = None
    """For a calculation that judges against limits written here."""
    branches: dict[str, Target]
    """Each outcome the calculation can have, and where it leads."""


class AdjustGate(GateBlock):
    """Advice for one turn of an adjuster from the maker's data, and the call of the turn made."""

    kind: Literal["adjust"]
    rate: Literal["maximum", "minimum"]
    """Which rate's adjuster is turned."""
    using: Name
    """Where the readings were kept that are out."""
    voids: Names = ()
    """Readings that no longer count once the adjuster has moved."""
    no_advice: Target
    """Where it leads when no advice may be given."""


class RestoreGate(GateBlock):
    """Asks for each thing that is still altered, one by one, until it is put back."""

    kind: Literal["restore"]
    things: Names
    """The things in the order they are asked for."""


class IncludeGate(Block):
    """Another procedure's gates, put in here under this id as prefix."""

    kind: Literal["include"]
    id: Name
    file: str = Field(pattern=r"^[a-z0-9-]+\.yaml$")
    """A file beside this one."""
    parameters: dict[Name, str | int | bool | Decimal] = Field(default_factory=dict)
    """Values for the included file's parameters, which stand there as `$name`."""
    exits: dict[Name, Target]
    """Where each of its exits leads."""


class StopGate(GateBlock):
    """Make-safe reached from a gate: the script is spoken and the visit stops; things may stay altered."""

    kind: Literal["stop"]
    script: Prompt


class FinishGate(GateBlock):
    """The end: everything must be restored; it is read back before it counts."""

    kind: Literal["finish"]


AnyGate = Annotated[
    ConfirmGate
    | ChoiceGate
    | ReadingsGate
    | TimedGate
    | VerdictGate
    | AdjustGate
    | RestoreGate
    | IncludeGate
    | StopGate
    | FinishGate,
    Field(discriminator="kind"),
]


class ProcedureFile(Block):
    """One file: what the procedure is for, the facts it needs, and its gates in order."""

    handsfree: Literal[1]
    """The version of this language."""
    procedure: Name
    """Its name; the file is called the same."""
    language: Name = "english"
    """The language it is written in: one that ships, or one whose file, `NAME.yaml`, stands beside it."""
    trade: Name = DEFAULT_TRADE
    """The trade it belongs to: quantities, hazards, calculations and sheets are the trade's."""
    title: str
    purpose: str
    """What it is for, in a sentence."""
    cautions: Texts = ()
    """Spoken before the first gate, short."""
    jobsheet: Names = ()
    """Facts of the job sheet it cannot do without."""
    parameters: dict[Name, str | int | bool | Decimal] = Field(default_factory=dict)
    """Parameters with their defaults; a value `$name` in the gates is replaced."""
    words: dict[Phrase, str] = Field(default_factory=dict)
    """Pronunciations of words the dictionary lacks, in its phones."""
    things: dict[Name, Thing] = Field(default_factory=dict)
    exits: Names = ()
    """Names of the ways out; run by itself, each exit restores everything and finishes."""
    gates: Annotated[tuple[AnyGate, ...], BeforeValidator(as_tuple), Field(min_length=1)]
