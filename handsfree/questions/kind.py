"""What every kind of question must tell: the words it accepts, its keys, and what silence and doubt do.

A question is plain frozen data, so that it can stand in the record. Whoever asks it acts on the answer; all else
that the program needs to know of a question, its own module says.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

from pydantic import BaseModel, ConfigDict

from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.ask import Ask, Thing
from handsfree.questions.keypad import Keypad

NO_INPUT_MS = 15_000
"""A question unanswered this long is asked again."""

ALARM_MS = 60_000
"""At a firing gate no answer for this long is an alarm."""

LONGEST_MARK_MS = 240_000
"""The second mark of a timing may take this long before it counts as silence."""


class Carried(BaseModel):
    """The strictness that questions share: frozen, and nothing but their own fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


@dataclass(frozen=True)
class Scope:
    """What a question may look at: the words of the language, the things, and what its gate asks for."""

    catalogue: Catalogue
    things: Mapping[str, Thing]
    answers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """The gate's own answers by name, each with its phrases."""
    ordinary: bool = False
    """An ordinary "yes" or "done" answers the gate too: nothing hangs on which word it is."""
    matches: bool = False
    """The answer must name a fact; a yes names none, and is asked to."""
    asks: tuple[Ask, ...] = ()
    rate: str | None = None
    """The rate that the gate holds: it is called with the values, and may be lost."""
    alike: tuple[str, str] | None = None
    """Two quantities whose names are taken for each other in speech."""
    tied: tuple[str, ...] = ()
    """Quantities whose values are tied to each other, so that one checks the other."""
    adjusts: bool = False
    """Somewhere in the procedure an adjuster is turned, so that a turn may have been left open."""
    watched: str = ""
    """The quantity that is called at once after a turn that was not as advised."""

    guarded: tuple[str, ...] = ()
    """The quantities that have a stop limit: an instrument that shows one beyond it has it called anywhere."""
    shows: Mapping[str, str] = field(default_factory=dict)
    """The unit that instruments show in place of a quantity's own."""
    photo: bool = False
    """The gate wants a photo, so that there may be none, because."""
    people: tuple[str, ...] = ()
    """The numbers of those who may answer, as the job sheet has them."""

    def only(self, quantities: tuple[str, ...]) -> tuple[Ask, ...]:
        """Return what the gate asks for of these quantities; all that it asks for when none of them is."""
        return tuple(ask for ask in self.asks if ask.quantity in quantities) or self.asks


Asker = Literal["gate", "need", "putting-back", "turning", "recheck", "note", "witness", "stop"]
"""Who takes the answer: the gate at hand, or one of the conversations that a visit has at any gate."""

Headline = Literal["question", "script", "countdown", "values"]
"""What stands largest on the technician's screen while the question is open."""


@dataclass(frozen=True)
class Manner:
    """How a question behaves, whatever is answered."""

    asker: Asker = "gate"
    awaits: Literal["answer", "time", "nothing"] = "answer"
    asks_again: bool = True
    """It is asked again after a while of silence."""
    silence_ms: int = NO_INPUT_MS
    """The while."""
    escalates: bool = True
    """It is asked in another way when the answer was not understood."""
    silence_accepts: bool = False
    """Its gate takes a short silence for an answer."""
    works: bool = False
    """The gate's work is done before it is answered."""
    patience_ms: int = ALARM_MS
    """How long the answer may take at a firing gate, once the work is done."""
    counts_at_once: bool = False
    """Its answer is acted on without another question, so a doubtful one is asked again."""
    taken_back: bool = False
    """Who takes its answer also takes the answer before it back."""
    second_call: bool = False
    """It wants a second call of a value, made without seeing the first."""
    spells: bool = False
    """It is asked digit by digit from the start."""
    names_answers: bool = False
    """Asked again, it names its answers where the question has not."""
    guesses: bool = False
    """After some failures the likeliest answer is offered for a yes or no."""
    interrupts: bool = False
    """It leaves the question before it open, and leads back to it."""
    headline: Headline = "question"


class PlayedTechnician(Protocol):
    """Whoever plays a technician, in a rehearsal or the demo: what it says to each sort of question."""

    def does(self) -> str:
        """Return the words for the work being done."""

    def chooses(self) -> str:
        """Return one of the gate's answers."""

    def calls(self, quantities: tuple[str, ...]) -> str:
        """Return the values of the quantities, or of all that the gate asks for."""

    def calls_again(self, quantities: tuple[str, ...]) -> str:
        """Return the value that was called before, if it was."""

    def checks_values(self) -> str:
        """Return yes, or a correction, to values read back."""

    def names_rate(self) -> str:
        """Return the rate that is held."""

    def names_state(self, thing: str, *, as_needed: bool) -> str:
        """Return the state that the gate needs the thing in, or the altered state."""

    def puts_back(self, thing: str) -> str:
        """Return the restored state of the thing, or its setting as found."""

    def turns(self) -> str:
        """Return the turn as it was asked for."""

    def reads(self, quantity: str) -> str:
        """Return the value of a quantity that the gate itself does not ask for."""

    def answers(self, name: str) -> str:
        """Return one of the language's own answers: affirm, deny, mark, firing, ..."""

    def gives_number(self) -> str:
        """Return the number of a person who may answer."""

    def talks(self) -> str:
        """Return some free talk."""

    def after_a_stop(self, ways: tuple[str, ...]) -> str:
        """Return how the visit goes on once it was stopped, by one of the ways that are open."""

    def steps_on(self, step: str) -> str:
        """Return an answer to a step after a stop."""


class QuestionKind(Protocol):
    """The members that every kind of question has; `handsfree/questions/__init__.py` lists the kinds."""

    @property
    def kind(self) -> str:
        """Its name in the record."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""

    def called(self, scope: Scope) -> tuple[str, ...]:
        """Return the quantities whose values answer it, in order."""

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts beside what is understood everywhere."""

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
