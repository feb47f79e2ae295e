"""A question with a few answers, each leading somewhere."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import ClassVar, Literal

from pydantic import Field, model_validator

from handsfree.blocks import Block, Name, Phrases, Prompt, Target
from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.answered_by import AnsweredRole, hear_number, person_questions, wants_number
from handsfree.gates.block import GateBlock
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets, own_or_not_done
from handsfree.gates.outcomes import DIFFERENT
from handsfree.gates.visit import Understanding, Visit, said_back
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.questions import Question
from handsfree.questions.answer_check import AnswerCheck
from handsfree.questions.choice import Choice
from handsfree.questions.finding import Finding
from handsfree.questions.kind import Scope
from handsfree.questions.person_number import PersonNumber


class ChoiceAnswer(Block):
    """One answer to a choice and where it leads."""

    heard: Phrases
    """What the person says for it, any one of these."""
    then: Target
    """Where it leads."""
    note: bool = False
    """A few words are asked for before it leads on: they go on the paper."""
    goes_out: bool = False
    """What runs goes out by this test: saying that it is out is this answer, and no hazard."""


class ChoiceGate(GateBlock):
    """A question with a few answers, each leading somewhere."""

    usual_work_seconds: ClassVar[int] = 60
    photographed: ClassVar[bool] = True
    kind: Literal["choice"]
    prompt: Prompt
    """The question, with its answers as they are said."""
    answers: dict[Name, ChoiceAnswer] = Field(min_length=2)
    """Its answers by name."""
    matches: Prompt | None = None
    """A fact of the sheets that the answer must name, such as `"{job.serial}"`: a yes is asked to name it."""
    answered_by: AnsweredRole = "technician"
    """Who must answer. A `second person` gives a number of the job sheet after the answer, or it does not count.

    A `customer` is recorded as having answered.
    """
    different: Target | None = None
    """Where an answer leads that names anything else."""

    @model_validator(mode="after")
    def _together(self) -> ChoiceGate:
        if (self.matches is None) != (self.different is None):
            raise ValueError("matches and different belong together: give both or neither")
        return self

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """Its answers."""
        return {name: answer.heard for name, answer in self.answers.items()}

    @cached_property
    def effects(self) -> Effects:
        """It leads on; its test may put out what runs."""
        out = next((name for name, answer in self.answers.items() if answer.goes_out), None)
        return Effects(goes_out=out, matches=self.matches is not None, answered_by=self.answered_by)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title and its prompt."""
        return {"title": self.title, "prompt": self.prompt, **self.photo_text} | (
            {"matches": self.matches} if self.matches else {}
        )

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return the transition of each answer, and that of "not done"."""
        own = {name: to.full(answer.then, ("answers", name, "then")) for name, answer in self.answers.items()}
        if self.different is not None:
            own[DIFFERENT] = to.full(self.different, ("different",))
        return own_or_not_done(self, to, own, needs_then=True)

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return the choice, and the check of each answer."""
        del scope
        checks = (AnswerCheck(answer=name) for name in self.answers)
        notes = (Finding(answer=name) for name, answer in self.answers.items() if answer.note)
        return (Choice(), *checks, *notes, *person_questions(self.answered_by, self.answers))

    def returned_to(self, state: State) -> bool:
        """Return True: it asks whenever it is entered."""
        del state
        return True

    def open(self, visit: Visit) -> None:
        """Ask the prompt."""
        visit.ask(Choice(), visit.fill(self.prompt))

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Leave by the answer; one heard in doubt is offered for a yes or no first."""
        if not isinstance(meaning, Answer):
            return False
        question = visit.state.question
        if isinstance(question, PersonNumber):
            return hear_number(visit, question, meaning, lambda name: self._counted(visit, name))
        if isinstance(question, Finding):
            return self._noted(visit, question, meaning, utterance)
        if isinstance(question, AnswerCheck) and meaning.name == "affirm":
            self._answered(visit, question.answer)
        elif isinstance(question, AnswerCheck) and meaning.name == "deny":
            self.open(visit)
        elif self.matches is not None and meaning.name == "affirm":
            visit.ask(Choice(), visit.words("name-it"))
        elif meaning.name not in self.answers:
            return False
        elif utterance.doubt:
            first = sentence_case(self.answers[meaning.name].heard[0])
            visit.ask(AnswerCheck(answer=meaning.name), visit.words("probably", first=first))
        else:
            self._answered(visit, meaning.name)
        return True

    def _answered(self, visit: Visit, name: str) -> None:
        """Let the answer count, once it is known who gave it."""
        if not wants_number(visit, self.answered_by, name):
            self._counted(visit, name)

    def _counted(self, visit: Visit, name: str) -> None:
        """Leave by the answer, after a few words where it wants them."""
        if self.matches is not None and visit.fill(self.matches).lower() not in self.answers[name].heard:
            visit.pass_gate(DIFFERENT)
        elif self.answers[name].note:
            visit.ask(
                Finding(answer=name), visit.words("few-words", answer=sentence_case(self.answers[name].heard[0]))
            )
        else:
            visit.pass_gate(name)

    def _noted(self, visit: Visit, question: Finding, meaning: Answer, utterance: Understanding) -> bool:
        """Keep the words, whatever they are, and leave by the answer that they belong to."""
        if meaning.name != "talk":
            return False
        said = self.answers[question.answer].heard[0]
        visit.emit(
            ev.Noted(at=visit.at, text=utterance.text, sound=utterance.sound, gate=visit.state.gate, answer=said)
        )
        said_back(visit, utterance)
        visit.pass_gate(question.answer)
        return True

    def time_up(self, visit: Visit) -> None:
        """Ask the prompt."""
        self.open(visit)

    def silence(self, visit: Visit) -> None:
        """Ask again: silence answers nothing here."""
        visit.ask_again()

    def drawing(self) -> Drawing:
        """Return a rhombus."""
        told = f"by the {self.answered_by}" if self.answered_by != "technician" else ""
        return Drawing(told, brackets=("{", "}"))

    def told(self, outcome: str, scope: Scope) -> str:
        """Return the first phrase of the answer."""
        del scope
        if outcome not in self.answers:
            return "(another than on the sheets)"
        return f'"{self.answers[outcome].heard[0]}"'

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield nothing: what it shows is told by its transitions."""
        del was
        yield from ()
