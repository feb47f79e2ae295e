"""What every kind of gate must tell and do; `handsfree/gates/__init__.py` lists the kinds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

from handsfree.events.inputs import SigningRole
from handsfree.events.state import State
from handsfree.gates.answered_by import AnsweredRole
from handsfree.gates.block import GateBlock, Rate, Settle
from handsfree.gates.outcomes import NOT_DONE
from handsfree.gates.visit import Judging, Turning, Understanding, Visit
from handsfree.lexicon.meaning import Meaning
from handsfree.questions import Question
from handsfree.questions.ask import Ask
from handsfree.questions.kind import Scope

KeyPath = tuple[str | int, ...]
"""Where something stands in a gate's YAML."""


@dataclass(frozen=True)
class Follows:
    """What decides a branch: a choice of a sheet, or how an earlier gate of the same file was passed."""

    fact: str | None
    answer: str | None
    values: tuple[str, ...]
    """What is told apart; anything else is "otherwise"."""


@dataclass(frozen=True)
class Effects:
    """What a gate does to the visit, apart from where it leads: what the proofs follow."""

    asks: tuple[Ask, ...] = ()
    """The values called at it, in order."""
    asked_at: tuple[KeyPath, ...] = ()
    """Where each of them is written."""
    measures: tuple[str, ...] = ()
    """Quantities that it keeps beside the called ones."""
    kept_at: str = ""
    """The measurement point under which the readings are kept."""
    rate: Rate | None = None
    """The rate held while they are read."""
    settle: Settle | None = None
    waits_seconds: int | None = None
    """How long it waits and does nothing else."""
    captures: str | None = None
    """The thing whose setting as found is read."""
    alters: tuple[str, ...] = ()
    """Things altered once it is done."""
    restores: tuple[str, ...] = ()
    """Things put back once it is done."""
    ordinary: bool = False
    """An ordinary "yes" or "done" passes it: nothing hangs on which word is said."""
    leaves: tuple[str, ...] = ()
    """Calculations whose bad verdict may stay once it is done."""
    matches: bool = False
    """Its answer must name a fact of the sheets, and is never a mere yes."""
    proves_settings: bool = False
    """A restored setting is proven by its value."""
    goes_out: str | None = None
    """The outcome when what runs goes out by the gate's own test: then saying so is an answer, and no hazard."""
    only_recorded: bool = False
    """What is read is said to be for the record alone: nothing judges it."""
    answered_by: AnsweredRole = "technician"
    """Who must answer it."""
    signed_by: tuple[SigningRole, ...] = ()
    """Who may sign there, on the phone's page."""
    judges: Judging | None = None
    turns: Turning | None = None
    follows: Follows | None = None
    end: Literal["finish", "stop"] | None = None
    refusable: bool = True
    """An author may let "not done, because" pass it."""


@dataclass(frozen=True)
class Drawing:
    """How a gate is drawn: what it does in a few words, and its Mermaid brackets."""

    does: str = ""
    brackets: tuple[str, str] = ("[", "]")


class Targets(Protocol):
    """Turns the targets written in a gate into full ids; a target that does not exist is a Problem."""

    def full(self, target: str, path: KeyPath = ()) -> str:
        """Return the full id of a target written at a key of the gate."""

    def then(self, gate: GateBlock) -> str:
        """Return where the gate leads: its `then`, or the next gate of the file."""

    def not_done(self, gate: GateBlock, *, needs_then: bool = False) -> str | None:
        """Return where "not done" leads; None when it is refused."""


class GateKind(Protocol):
    """The members that every kind of gate has beside its YAML."""

    @property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """Its own answers by name, each with its phrases."""

    @property
    def effects(self) -> Effects:
        """What it does to the visit."""

    @property
    def texts(self) -> Mapping[str, str]:
        """The texts that it says, by their keys."""

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return where each of its own outcomes leads."""

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return every question it can ask."""

    def returned_to(self, state: State) -> bool:
        """Say whether "go back" stops here: whether it would ask something now."""

    def open(self, visit: Visit) -> None:
        """Ask its question, or decide at once."""

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Act on an answer to its question; False when it is no answer."""

    def time_up(self, visit: Visit) -> None:
        """Act when a wait has ended."""

    def silence(self, visit: Visit) -> None:
        """Act when nothing was said after a read-back."""

    def drawing(self) -> Drawing:
        """Return how it is drawn."""

    def told(self, outcome: str, scope: Scope) -> str:
        """Return the words that lead out of it by one of its own outcomes; in brackets what needs none."""

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield what it no longer does that it did before it was changed."""


def own_or_not_done(
    gate: GateBlock, to: Targets, own: dict[str, str], *, needs_then: bool = False
) -> dict[str, str]:
    """Return a gate's own transitions with that of "not done", where the author allows it."""
    refused = to.not_done(gate, needs_then=needs_then)
    return own if refused is None else {**own, NOT_DONE: refused}
