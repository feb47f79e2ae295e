"""A calculation that a verdict may name: what it reads, what it can answer, and the function that judges.

The signature and the function stand in one place, so that what is proven before a visit is what is carried out
on it. A calculation sees nothing but its `Case`: of the readings, only those that its signature declares.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Protocol

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import InUnit
from handsfree.measurement.reading import Reading
from handsfree.measurement.verdict import Band, Measured, Verdict
from handsfree.trades.sheets import Sheets

WITHIN = "within"
OUTSIDE = "outside"
TOO_CLOSE = "too-close"
NO_LIMIT = "no-limit"
MISSING = "missing"


class SpokenWords(Protocol):
    """How the tool says things, in the language of the procedure."""

    def say(self, saying: str, **blanks: str) -> str:
        """Return one of the tool's sayings, filled in."""

    def subject(self, key: str) -> str:
        """Return what a verdict speaks of: a subject of the language, else a quantity's name."""

    def name(self, quantity: str) -> str:
        """Return a quantity's name."""

    def digits(self, number: Decimal) -> str:
        """Return a number in words."""

    def value(self, value: JudgedValue) -> str:
        """Return a value in words, in the unit it was called in."""


class WrittenLimits(Protocol):
    """Limits that stand in a gate itself: those of a regulation, not of a maker."""

    @property
    def quantity(self) -> str | None:
        """The reading that is judged; None where a formula's result is."""

    @property
    def unit(self) -> str | None:
        """The UCUM code of the limits of a formula's result."""

    @property
    def low(self) -> Decimal | None:
        """The least value allowed; None is open."""

    @property
    def high(self) -> Decimal | None:
        """The greatest value allowed; None is open."""

    @property
    def accuracy(self) -> Decimal | None:
        """The instrument's expanded uncertainty (k = 2); without it the value is taken as it is."""

    @property
    def source(self) -> str:
        """Where the limits are published."""

    @property
    def may_lack(self) -> bool:
        """Whether a table holds them that may have no row for a job: then a verdict may say so."""


def written_band(limits: WrittenLimits) -> Band | None:
    """Return the limits as a band; None where the gate's table has none for this job."""
    if limits.low is None and limits.high is None:
        return None
    return Band(limits.low, limits.high, limits.source)


@dataclass(frozen=True)
class JudgedValue:
    """A value to be judged, settled or the last one read, with its standard uncertainties in its own unit."""

    reading: Reading
    instrument: float
    """From the instrument's accuracy; 0 where the trade knows none."""
    own: float
    """From resolution and settling."""
    called: InUnit | None = None
    """As it was called, where that was in another unit."""

    @property
    def number(self) -> Decimal:
        """The value."""
        return self.reading.value

    @property
    def written(self) -> str:
        """The value as it stands in the record."""
        return f"{self.reading.value:f}"

    @property
    def measured(self) -> Measured:
        """The value in the shape that judges it."""
        return Measured(self.number, self.instrument, self.own)


@dataclass(frozen=True)
class Case:
    """All that a calculation may know: readings by input and quantity, the sheets, the day, how to say things."""

    sheets: Sheets
    day: date
    words: SpokenWords
    values: Mapping[str, Mapping[str, JudgedValue]] = field(default_factory=dict)
    """Input -> quantity -> value, as far as it was read."""
    doubted: Mapping[str, str] = field(default_factory=dict)
    """Input -> why quantities read there cannot all be true."""
    rate: str | None = None
    limits: WrittenLimits | None = None

    def value(self, name: str, quantity: str) -> JudgedValue | None:
        """Return what was read of a quantity for an input; None when it was not."""
        return self.values.get(name, {}).get(quantity)

    def subject(self, key: str) -> str:
        """Return what a verdict speaks of, as a sentence begins."""
        return sentence_case(self.words.subject(key))


@dataclass(frozen=True)
class Judgement:
    """What a calculation answers; `spoken` is what the tool says of it."""

    outcome: str
    spoken: str
    sentence: str
    rule: str = ""
    demonstrated: bool = False
    numbers: dict[str, str] = field(default_factory=dict)
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class Calculation:
    """What a calculation reads and can answer, and how it judges."""

    says: str
    """What it judges, in a sentence."""
    inputs: Mapping[str, tuple[str, ...]]
    """Input name -> the quantities it reads from the readings kept there."""
    outcomes: tuple[str, ...]
    judge: Callable[[Case], Judgement]
    unit: str | None
    """UCUM code of the result that is held against the limits; None where that is the reading's own."""
    uncertainty: str
    """Which uncertainty it carries, and by which rule it decides."""
    source: str
    """Where formula and limits are from."""
    rate: bool = False
    """Whether the gate must name a rate."""
    limits: bool = False
    """Whether the gate itself holds the limits; they then name the quantity that is read."""
    bad: frozenset[str] = frozenset({OUTSIDE})
    """Outcomes that a later verdict must take back before the visit may finish."""
    turns: frozenset[str] = frozenset()
    """Outcomes that are a reason to turn an adjuster."""
    forbids_turns: bool = False
    """It judges more than what an adjuster sets: while its last outcome is bad, no adjuster is turned."""
    may_be_left: bool = False
    """Its last outcome may stay outside where a gate tells whoever decides: a maker's band, never a danger."""
    exact_without_accuracy: bool = False
    """Where the gate's limits have no accuracy the value is taken as it is, and is never too close to them."""
    before_turns: bool = False
    """It must have been carried out, with its readings there, before any adjuster is turned."""

    def outcomes_by(self, limits: WrittenLimits | None) -> tuple[str, ...]:
        """Return what it can answer, given the limits of the gate."""
        lacking = limits is not None and limits.may_lack and NO_LIMIT not in self.outcomes
        outcomes = (*self.outcomes, NO_LIMIT) if lacking else self.outcomes
        exact = self.exact_without_accuracy and limits is not None and limits.accuracy is None
        return tuple(outcome for outcome in outcomes if not (exact and outcome == TOO_CLOSE))

    bands: Callable[[Sheets, str | None], Mapping[str, Band]] = lambda _sheets, _rate: {}
    """The band of each quantity that is held against one as it was read, at a rate, from the sheets."""

    def bands_of(self, sheets: Sheets, rate: str | None, limits: WrittenLimits | None) -> Mapping[str, Band]:
        """Return the bands of what was read, those written in the gate too."""
        if limits is not None:
            band = written_band(limits)
            return {} if limits.quantity is None or band is None else {limits.quantity: band}
        return self.bands(sheets, rate)

    def reads(self, name: str, limits: WrittenLimits | None) -> tuple[str, ...]:
        """Return the quantities an input must hold, given the limits of the gate."""
        return self.inputs[name] or (() if limits is None or limits.quantity is None else (limits.quantity,))


def missing(case: Case, key: str) -> Judgement:
    """Return the judgement when a subject, or a quantity, was not read."""
    what = case.words.subject(key)
    return Judgement(MISSING, case.words.say("missing", what=what), f"{what}: no reading to judge")


def no_limit(case: Case, what: str) -> Judgement:
    """Return the judgement when the sheets give no limit."""
    return Judgement(NO_LIMIT, case.words.say("no-limit"), f"no limit loaded for {what}: see the manual")


def from_verdict(case: Case, what: str, verdict: Verdict, sources: tuple[str, ...], value: Decimal) -> Judgement:
    """Return the judgement that a verdict near a limit comes to."""
    if verdict.passes:
        outcome, saying = WITHIN, "within" if verdict.demonstrated else "within-marked"
    elif verdict.outcome == "too close to call":
        outcome = saying = TOO_CLOSE
    else:
        outcome = saying = OUTSIDE
    return Judgement(
        outcome,
        case.words.say(saying, what=what, value=case.words.digits(value)),
        f"{what} {value}: {verdict.sentence()}",
        verdict.rule,
        verdict.demonstrated,
        dict(verdict.numbers),
        sources,
    )
