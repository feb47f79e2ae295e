"""What a gate may see and do of the visit that it is led in. The session's draft of one decision does all this."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from typing import Literal, Protocol

from handsfree.events.decisions import (
    Decision,
    Direction,
    InstrumentCompared,
    Lacking,
    ReadingRecord,
    SettlingJudged,
    StoppedBy,
    ValueSettled,
)
from handsfree.events.state import State
from handsfree.gates.block import Limits, Rate, Settle
from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.meaning import Called, Meaning, Values
from handsfree.questions import Question
from handsfree.questions.ask import Thing
from handsfree.trades.calculation import Judgement


@dataclass(frozen=True)
class Understanding:
    """The circumstances of what was understood, and how surely."""

    onset: int
    """When the speech began, in ms of the visit."""
    doubt: str = ""
    """Why the hearing is not sure; empty when nothing speaks against it."""
    competing: tuple[Meaning, ...] = ()
    """What else it may have meant, likeliest first."""
    sound: str | None = None
    text: str = ""
    written: str = ""
    """Free words that the general recogniser wrote: `personal:` and what commits to them. They mean nothing."""
    values: tuple[tuple[str, Called], ...] = ()
    """The values called, when values were called."""
    slight: bool = False
    """The doubt is slight: enough for "done", never for a reading, a restore, a turn or the finish."""
    words: tuple[str, ...] = ()
    """The words themselves, where they are known."""
    divisions: tuple[Values, ...] = ()
    """Every way to divide these very words, where they may call one value or more."""

    def in_doubt(self, quantity: str) -> bool:
        """Say whether a quantity is in doubt: all are, unless competing hypotheses agree to the digits called."""
        called = [
            dict(hypothesis.values).get(quantity)
            for hypothesis in self.competing
            if isinstance(hypothesis, Values)
        ]
        own = dict(self.values).get(quantity)
        return not called or any(not _agree(value, own) for value in called)


def _agree(hypothesis: Called | None, own: Called | None) -> bool:
    """Say whether a rival is the same value, or the same with a digit more than was called: 19.88 beside 19.8."""
    if isinstance(hypothesis, Decimal) and isinstance(own, Decimal):
        finer = int(hypothesis.as_tuple().exponent) < int(own.as_tuple().exponent)
        return str(hypothesis) == str(own) or (finer and hypothesis.quantize(own, ROUND_DOWN) == own)
    return hypothesis is not None and str(hypothesis) == str(own)


@dataclass(frozen=True)
class SettlingJudgement:
    """The event of one quantity's settling, and the settled value that goes with it."""

    event: SettlingJudged
    settled: ValueSettled


@dataclass(frozen=True)
class Judging:
    """What a verdict judges: a calculation of the trade, its inputs by name, and limits written in the gate."""

    calculation: str
    using: Mapping[str, str]
    rate: Rate | None = None
    limits: Limits | None = None


@dataclass(frozen=True)
class Turning:
    """Which adjuster a gate turns, on which readings."""

    rate: Rate
    using: str
    voids: tuple[str, ...] = ()


@dataclass(frozen=True)
class TurnAdvice:
    """One step of an adjuster, or none with the reason: then `direction` is None."""

    adjuster: str
    direction: Direction | None
    eighths: int
    reason: str
    """For the record."""
    spoken: str = ""
    """Why there is none, as it is said."""


@dataclass(frozen=True)
class Untrue:
    """Why values that are tied to each other cannot all be true."""

    quantities: tuple[str, ...]
    reason: str
    fits: str = ""
    """What else they would fit, as the tool says it."""


@dataclass(frozen=True)
class Unusual:
    """Called values that are asked about before they are kept."""

    quantities: tuple[str, ...]
    reason: str
    """For the record."""
    text: str
    """The question."""


How = Literal["affirmed", "silence", "twice", "corrected", "timed"]


class Visit(Protocol):
    """One decision of a visit while it is being worked out."""

    @property
    def state(self) -> State:
        """The state with all that was decided so far."""

    @property
    def at(self) -> int:
        """The time of the input, in ms of the visit."""

    @property
    def transitions(self) -> Mapping[str, str]:
        """Where each outcome of the gate at hand leads."""

    @property
    def catalogue(self) -> Catalogue:
        """The words of the language."""

    @property
    def things(self) -> Mapping[str, Thing]:
        """What the procedure may alter."""

    def person(self, number: str) -> tuple[str, bool] | None:
        """Return who has a number, and whether they may answer second; None when nobody has it."""

    def known(self, decider: str) -> str:
        """Return what is known of what decides: a fact of a sheet, or how an earlier gate was passed last."""

    def fill(self, text: str) -> str:
        """Return a prompt with the blanks filled in from the sheets."""

    def words(self, saying: str, **blanks: str) -> str:
        """Return one of the tool's sayings, filled in."""

    def name(self, quantity: str) -> str:
        """Return a quantity as the tool says it."""

    def names(self, quantities: Iterable[str]) -> str:
        """Return quantities as the tool says them, in a row."""

    def emit(self, event: Decision) -> None:
        """Add an event and apply it."""

    def say(self, saying: str, **blanks: str) -> None:
        """Say one of the tool's sayings."""

    def tell(self, text: str) -> None:
        """Say a text that asks nothing."""

    def ask(self, question: Question, text: str, *, attempt: int = 1, until: int | None = None) -> None:
        """Ask a question and expect its answer."""

    def ask_again(self) -> None:
        """Ask the question at hand once more, as if new."""

    def ask_to_put_back(self, things: Iterable[str]) -> bool:
        """Ask for the first of the things to be put back; False when there is none."""

    def wait(self, until: int, text: str) -> None:
        """Be silent until a time."""

    def lacking(self) -> tuple[Lacking, ...]:
        """Return what the procedure is for and the visit has not shown."""

    def open(self) -> None:
        """Open the gate at hand anew: its unmet needs first."""

    def pass_gate(self, outcome: str) -> None:
        """Leave the gate by an outcome."""

    def lose_rate(self, why: str) -> None:
        """Void the set at hand and go back to where the rate is held."""

    def stop(
        self, why: str, detail: str, script: str, source: str, *, by: StoppedBy, hazard: str | None = None
    ) -> None:
        """Stop the visit with a script; `hazard` is the stop of the trade that it is, a fault when left out."""

    def record_of(self, quantity: str, called: Called) -> ReadingRecord:
        """Return a called value as it is recorded."""

    def stop_if_beyond(self, values: Mapping[str, ReadingRecord], *, may_adjust: bool = True) -> bool:
        """Stop the visit when the values pass a stop limit; False when they do not."""

    def beyond(self, values: Mapping[str, ReadingRecord]) -> bool:
        """Say whether the values pass a stop limit."""

    def decides_a_stop(self, quantity: str, values: Mapping[str, ReadingRecord]) -> bool:
        """Say whether the quantity, alone or with the others, passes a stop limit: then it is called twice."""

    def untrue(self, *, surely: bool = False) -> Untrue | None:
        """Return why the values of the set at hand cannot be true together; `surely` by settled readings alone."""

    def witnessed(self, called: ReadingRecord, onset: int) -> InstrumentCompared | None:
        """Return how the instrument's row nearest in time stands to a called value; None without one."""

    def as_shown(self, compared: InstrumentCompared) -> str:
        """Return what the instrument shows as the tool says it, in the unit that was called."""

    def unusual(self, quantities: Iterable[str]) -> tuple[Unusual, ...]:
        """Return what of some called values is unusual; nothing where a stop limit is passed."""

    def confirmed_by_others(self) -> tuple[str, ...]:
        """Return the called values that silence may accept: confirmed by others, and no verdict hangs on them."""

    def same_display(self, quantity: str, resolution: Decimal) -> Decimal:
        """Return how far two calls of one live display may lie apart."""

    def settle_seconds(self, settle: Settle) -> int:
        """Return how long to wait after a change: the maker's wait when that is longer."""

    def judge_sets(self, kept_at: str, settle: Settle) -> tuple[SettlingJudgement, ...]:
        """Judge whether each quantity kept under a name has settled."""

    def stop_if_rising(self, kept_at: str, settle: Settle) -> bool:
        """Stop the visit when a quantity rises that must not; False when none does."""

    def tell_last_time(self) -> None:
        """Say what an earlier visit left of the values that were just accepted, and an unusual change."""

    def hold_ran_out(self) -> bool:
        """Say whether the appliance has let go of the held rate by itself, by the maker's time."""

    def read_again(self, kept_at: str) -> bool:
        """Go back to where readings are taken that a long pause made old; False when none are."""

    def judged_again(self, kept_at: Iterable[str]) -> bool:
        """Go back for what is to be judged where a long stop made it old; False when nothing is."""

    def judge(self, judging: Judging) -> Judgement:
        """Carry out a calculation of the trade."""

    def advise(self, turning: Turning) -> TurnAdvice:
        """Return the advice for one turn of an adjuster."""


def said_back(visit: Visit, utterance: Understanding) -> None:
    """Say what was written of free words, so that a wrong writing is noticed; the sound beside it counts."""
    if utterance.written:
        visit.say("written-down", words=utterance.written)
