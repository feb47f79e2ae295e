"""Something the person does and then says so."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, model_validator

from handsfree.blocks import Names, Phrases, Prompt, as_tuple
from handsfree.events import decisions as ev
from handsfree.events.inputs import SigningRole
from handsfree.events.state import State
from handsfree.gates.answered_by import AnsweredRole, hear_number, person_questions, wants_number
from handsfree.gates.block import GateBlock
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets, own_or_not_done
from handsfree.gates.lost import no_longer
from handsfree.gates.outcomes import DONE
from handsfree.gates.visit import Understanding, Visit
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.questions import Question
from handsfree.questions.answer_check import AnswerCheck
from handsfree.questions.done_check import DoneCheck
from handsfree.questions.kind import Scope
from handsfree.questions.person_number import PersonNumber
from handsfree.questions.to_do import ToDo


class ConfirmGate(GateBlock):
    """Something the person does and then says so."""

    usual_work_seconds: ClassVar[int] = 60
    photographed: ClassVar[bool] = True
    kind: Literal["confirm"]
    prompt: Prompt
    """What is to be done."""
    done: Phrases = ()
    """What the person says when it is done, any one of these; the language's own word when left out ("done")."""
    own_words: bool | None = None
    """Whether its own words alone pass it, and no ordinary "yes", "okay" or "done".

    Left out, they do where something is altered, restored or needed. Write true wherever else one stray word must
    not pass it: proving dead, a purge, opening a supply, a start, a hazard.
    """
    alters: Names = ()
    """Things that are altered once this is done."""
    restores: Names = ()
    """Things without a value that are put back once this is done.

    A phrase that names the thing and its state ("lock removed") puts it back at once; a shorter one is read back.
    """
    answered_by: AnsweredRole = "technician"
    """Who must answer. A `second person` gives a number of the job sheet after the answer, or it does not count.

    A `customer` is recorded as having answered.
    """
    signed_by: Annotated[tuple[SigningRole, ...], BeforeValidator(as_tuple)] = ()
    """Who may sign here on the phone's page: `technician`, `customer`; never where anything fires."""
    leaves: Names = ()
    """Calculations whose verdict may stay `outside` or `too-close` to the end: this tells whoever decides."""

    @model_validator(mode="after")
    def _signs_at_rest(self) -> ConfirmGate:
        if self.signed_by and self.firing:
            raise ValueError("nobody signs where anything fires: write signed_by at a gate that does not fire")
        return self

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """The word for having done it."""
        return {DONE: self.done}

    @cached_property
    def effects(self) -> Effects:
        """It alters and restores things."""
        careful = bool(self.alters or self.restores or self.needs) if self.own_words is None else self.own_words
        return Effects(
            alters=self.alters,
            restores=self.restores,
            ordinary=not careful,
            leaves=self.leaves,
            answered_by=self.answered_by,
            signed_by=self.signed_by,
        )

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title and its prompt."""
        return {"title": self.title, "prompt": self.prompt, **self.photo_text}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return its one way on, and that of "not done"."""
        return own_or_not_done(self, to, {DONE: to.then(self)})

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return the work, and the checks that may follow it."""
        del scope
        check = (DoneCheck(),) if self.restores else ()
        return (ToDo(), AnswerCheck(answer=DONE), *check, *person_questions(self.answered_by, (DONE,)))

    def returned_to(self, state: State) -> bool:
        """Return True: it asks whenever it is entered."""
        del state
        return True

    def open(self, visit: Visit) -> None:
        """Ask the prompt."""
        visit.ask(ToDo(), visit.fill(self.prompt))

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Take "done", after a yes or no when it was heard in real doubt; read back what it restores."""
        question = visit.state.question
        checked = question in {DoneCheck(), AnswerCheck(answer=DONE)}
        if isinstance(question, PersonNumber):
            return hear_number(visit, question, meaning, lambda _: self._counted(visit))
        if meaning == Answer(DONE) and self.restores and not self._all_named(visit, utterance):
            things = (visit.things[name] for name in self.restores)
            states = "; ".join(f"{thing.said} {thing.restored}" for thing in things)
            visit.ask(DoneCheck(), visit.words("things-check", things=sentence_case(states)))
        elif meaning == Answer(DONE) and utterance.doubt and not utterance.slight:
            visit.ask(AnswerCheck(answer=DONE), visit.words("probably", first=sentence_case(self.done[0])))
        elif meaning == Answer(DONE) or (checked and meaning == Answer("affirm")):
            self._done(visit)
        elif checked and meaning == Answer("deny"):
            self.open(visit)
        else:
            return False
        return True

    def _all_named(self, visit: Visit, utterance: Understanding) -> bool:
        """Say whether the words named each thing with its state, and nothing speaks against the hearing."""
        return not utterance.doubt and all(visit.things[one].named_in(utterance.words) for one in self.restores)

    def _done(self, visit: Visit) -> None:
        if not wants_number(visit, self.answered_by, DONE):
            self._counted(visit)

    def _counted(self, visit: Visit) -> None:
        for thing in self.restores:
            if thing in visit.state.altered:
                visit.emit(ev.Restored(at=visit.at, thing=thing, gate=visit.state.gate))
        for thing in self.alters:  # altered anew counts too: holding another rate restarts the settle clock
            visit.emit(ev.Altered(at=visit.at, thing=thing, gate=visit.state.gate))
        visit.pass_gate(DONE)

    def time_up(self, visit: Visit) -> None:
        """Ask the prompt."""
        self.open(visit)

    def silence(self, visit: Visit) -> None:
        """Ask again: silence confirms no work."""
        visit.ask_again()

    def drawing(self) -> Drawing:
        """Return what it alters and restores."""
        told = [f"alters {', '.join(self.alters)}"] if self.alters else []
        told += [f"restores {', '.join(self.restores)}"] if self.restores else []
        told += [f"by the {self.answered_by}"] if self.answered_by != "technician" else []
        told += [f"signed by {' and '.join(self.signed_by)}"] if self.signed_by else []
        return Drawing("; ".join(told))

    def told(self, outcome: str, scope: Scope) -> str:
        """Return its own word."""
        del outcome, scope
        return f'"{self.done[0]}"'

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield the things it no longer alters."""
        yield from no_longer("alters", was.effects.alters, self.alters)
