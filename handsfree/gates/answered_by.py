"""Who must answer at a gate: the technician, a second person who is known by a number, or the customer."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

from handsfree.events import decisions as ev
from handsfree.gates.visit import Visit
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.questions import Question
from handsfree.questions.person_number import PersonNumber

AnsweredRole = Literal["technician", "second person", "customer"]


def person_questions(role: AnsweredRole, answers: Iterable[str]) -> tuple[Question, ...]:
    """Return what is asked of whoever answers, for each answer of the gate."""
    return tuple(PersonNumber(answer=one) for one in answers) if role == "second person" else ()


def wants_number(visit: Visit, role: AnsweredRole, answer: str) -> bool:
    """Ask a second person for their number before an answer counts; False where it counts as it is."""
    if role == "second person":
        visit.ask(PersonNumber(answer=answer), visit.words("person-number"))
        return True
    if role == "customer":
        visit.emit(ev.AnsweredBy(at=visit.at, gate=visit.state.gate, role=role))
    return False


def hear_number(visit: Visit, question: PersonNumber, meaning: Meaning, go_on: Callable[[str], None]) -> bool:
    """Let an answer count once its person is known; False when that was no number of the job sheet.

    The technician's own number is refused where the job sheet wants another person.
    """
    person = visit.person(meaning.name) if isinstance(meaning, Answer) else None
    if person is None:
        return False
    name, may = person
    if may:
        visit.emit(ev.AnsweredBy(at=visit.at, gate=visit.state.gate, role="second person", name=name))
        go_on(question.answer)
    else:
        visit.ask(question, visit.words("another-person"))
    return True
