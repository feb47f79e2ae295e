"""`my-check.tests.yaml`: stories of a procedure, each from its opening to an end that it states."""

from __future__ import annotations

from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, model_validator

from handsfree.blocks import Block, Day, Exact, FieldName, Name, Names, Texts, as_tuple
from handsfree.events.decisions import Decision, Ending
from handsfree.procedure.file import GatePath
from handsfree.questions import QUESTION_KINDS
from handsfree.stories.mutants import OPERATORS

ENDINGS = tuple(one for one in get_args(Ending) if one != "stopped")  # that one is of older records
EVENTS = tuple(kind.model_fields["kind"].default for kind in get_args(get_args(Decision)[0]))
QUESTIONS = tuple(kind.model_fields["kind"].default for kind in QUESTION_KINDS)

MOST_STORIES = 500


def _known(value: Any, known: tuple[str, ...]) -> Any:
    for one in (value,) if isinstance(value, str) else value if isinstance(value, list) else ():
        if one not in known:
            raise ValueError(f"there is no {one!r}; write one of: {', '.join(known)}")
    return as_tuple(value)


def _steps(value: Any) -> Any:
    if not isinstance(value, list):
        return value
    return tuple({"say": step} if isinstance(step, str) else step for step in value)


class Elapsed(Block):
    """How long the visit has lasted by its own clock, in seconds."""

    least: int = Field(default=0, ge=0)
    """It has lasted at least this long."""
    most: int | None = Field(default=None, ge=0)
    """It has lasted at most this long."""


class Expected(Block):
    """What must be so after a step; what is left out is not looked at."""

    gate: GatePath | None = None
    """The gate that the visit is at."""
    asks: Annotated[str, BeforeValidator(lambda value: _known(value, QUESTIONS))] | None = None
    """The kind of the question that is open."""
    spoken: Texts = ()
    """Texts that the tool has said since the step began, each of them or a part of it."""
    events: Annotated[Names, BeforeValidator(lambda value: _known(value, EVENTS))] = ()
    """Kinds of events that have happened since the step began."""
    verdict: dict[GatePath, str] = Field(default_factory=dict)
    """Verdict gates with the outcome that each gave last."""
    altered: Names | None = None
    """The things that are altered now, all of them."""
    elapsed: Elapsed | None = None
    """How long the visit has lasted by now."""


class StoryStep(Block):
    """One thing that happens, and what is expected after it. At most one of `say`, `key`, `go` and `wait`."""

    say: str | None = None
    """Words that are said, and heard as they are, once the tool expects an answer."""
    key: str | None = None
    """Words or a key that are typed."""
    go: GatePath | Literal["end", "stopped"] | None = None
    """Go along with whatever is asked until the visit is at this gate, at its `end`, or `stopped`."""
    wait: int | None = Field(default=None, ge=0, le=86_400)
    """Say nothing for so many seconds."""
    after: int | None = Field(default=None, ge=0, le=86_400)
    """Say it so many seconds after the step before, whether an answer is expected by then or not."""
    shows: dict[FieldName, Exact] = Field(default_factory=dict)
    """What the instruments show from now on, for `go`."""
    chooses: dict[GatePath, str] = Field(default_factory=dict)
    """Gates with the answer that `go` gives there from now on."""
    undone: Annotated[tuple[GatePath, ...] | None, BeforeValidator(as_tuple)] = None
    """Gates that `go` leaves undone from now on, in place of those before."""
    understood: bool = True
    """Whether the words are to be understood; a story with words that are not fails otherwise."""
    expect: Expected | None = None
    """What must be so after it."""

    @model_validator(mode="after")
    def _one(self) -> StoryStep:
        if sum(one is not None for one in (self.say, self.key, self.go, self.wait)) > 1:
            raise ValueError("write one of say, key, go and wait in a step")
        if self.after is not None and self.say is None and self.key is None:
            raise ValueError("after belongs to say or key")
        return self


class ExpectedPaper(Block):
    """What stands on the paper that the visit leaves: the report, and the notice of one that was left off."""

    says: Texts = ()
    """Texts that stand on it."""
    never: Texts = ()
    """Texts that must not stand on it."""


class Story(Block):
    """One visit, told from its opening to its end."""

    story: str = Field(min_length=3, max_length=100)
    """What it shows."""
    language: Name | None = None
    """The language that it is led in, one of the procedure's; that of the job sheet, or its own, when left out."""
    jobsheet: str | None = Field(default=None, pattern=r"^[A-Za-z0-9._-]+\.yaml$")
    """Another job sheet for this story, a file beside this one."""
    shows: dict[FieldName, Exact] = Field(default_factory=dict)
    """What the instruments show, for `go`; the trade's usual value where nothing is said."""
    chooses: dict[GatePath, str] = Field(default_factory=dict)
    """Gates with the answer that `go` gives there; the first that leads to no stop where nothing is said."""
    undone: Annotated[tuple[GatePath, ...], BeforeValidator(as_tuple)] = ()
    """Gates that `go` leaves undone, with a reason."""
    steps: Annotated[tuple[StoryStep, ...], BeforeValidator(_steps), Field(min_length=1)]
    """A text alone is something said."""
    ends: Annotated[str, BeforeValidator(lambda value: _known(value, (*ENDINGS, "open")))]
    """How the visit ends; `open` when it does not."""
    altered: Names = ()
    """The things that are altered at the end, all of them."""
    lacking: Texts = ()
    """What the visit was for and did not show, all of it."""
    paper: ExpectedPaper | None = None
    """What its paper must say, and what it must not."""


class LeastCoverage(Block):
    """How much of the procedure the stories must walk at least, in percent."""

    gates: int = Field(default=0, ge=0, le=100)
    """Of its gates: those that some story enters."""
    ways: int = Field(default=0, ge=0, le=100)
    """Of its ways: a gate together with how it is left."""


class AcceptedFault(Block):
    """One planted fault, by the name that `handsfree test --mutants` prints for what survives."""

    file: str | None = None
    """The file that it is planted into, without `.yaml`; that of the procedure when left out."""
    gate: str
    """The gate that it is planted into; `parameters`, or the row of a table."""
    fault: Annotated[str, BeforeValidator(lambda value: _known(value, tuple(OPERATORS)))]
    """The kind of fault."""
    what: str
    """What it changes, as it is printed."""


class Accepted(Block):
    """Planted faults that nothing needs to notice, all for one reason.

    `handsfree test --mutants` refuses one that is not planted any more, or is noticed now.
    """

    because: str = Field(min_length=10, max_length=400)
    """The reason, for whoever reads it next."""
    faults: Annotated[tuple[AcceptedFault, ...], BeforeValidator(as_tuple), Field(min_length=1)]
    """Each of them by its name."""


class StoriesFile(Block):
    """All stories of one procedure."""

    handsfree: Literal[2]
    """The version of the language."""
    stories_of: Name
    """The procedure: its file stands beside this one, or in the folder above."""
    jobsheet: str | None = Field(default=None, pattern=r"^[A-Za-z0-9._-]+\.yaml$")
    """A job sheet beside this file; the trade's invented one when left out."""
    day: Day | None = None
    """The day of the visits, for calibration dates; today when left out."""
    coverage: LeastCoverage = LeastCoverage()
    """How much they must walk: where they walk less, `handsfree test` and `handsfree release` fail."""
    stories: Annotated[tuple[Story, ...], BeforeValidator(as_tuple), Field(min_length=1, max_length=MOST_STORIES)]
    """The stories, each a visit of its own."""
    accepted: Annotated[tuple[Accepted, ...], BeforeValidator(as_tuple)] = ()
    """The planted faults that may survive `handsfree test --mutants`, with the reason."""
