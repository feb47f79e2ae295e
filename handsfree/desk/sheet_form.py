"""A sheet as a form: all its questions at once, each with its answer as it was written and what is wrong with it.

Nothing is asked twice and nothing is lost: an answer that cannot stand stays as it was written, with a sentence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, TypeVar

from handsfree.procedure.sheet_making import NewApplianceSheet, NewJobSheet
from handsfree.procedure.sheet_questions import SheetQuestion

T = TypeVar("T")
OfferAnswer = Callable[[str, Mapping[str, str]], tuple[str, str] | None]
"""Path of a question and the answers so far -> an answer to offer, and where it is from."""


@dataclass(frozen=True)
class FormQuestion:
    """One question as it stands on the form."""

    question: SheetQuestion
    answer: str
    """As it was written; before that what is offered, or stands when nothing is written."""
    is_open: bool
    """Whether nobody has answered it yet."""
    fault: str = ""
    """Why the answer cannot stand; empty when it can."""
    offered_from: str = ""
    """Where the answer is from that is offered."""
    told: tuple[str, ...] = ()
    """What is said before it is asked."""

    @property
    def path(self) -> str:
        """What names it."""
        return self.question.path

    @property
    def group(self) -> str:
        """The fact of the sheet that it is part of, as it is said."""
        return self.path.partition("/")[0].rstrip("?").replace("_", " ")


class FilledForm:
    """The questions of one sheet by the answers kept so far."""

    def __init__(
        self, sheet: NewJobSheet | NewApplianceSheet, kept: Mapping[str, str], offer: OfferAnswer
    ) -> None:
        self._kept, self._offer, self._said = kept, offer, list[str]()
        self._asked: dict[str, FormQuestion] = {}
        self.content: dict[str, Any] = sheet.content(self)
        """What the sheet holds; whole only where nothing is open or wrong."""
        if not self.open and not self.wrong and (fault := sheet.fault(self.content)) is not None:
            self._blame(fault.path, fault.sentence)

    @property
    def questions(self) -> tuple[FormQuestion, ...]:
        """Every question in its order."""
        return tuple(self._asked.values())

    @property
    def open(self) -> int:
        """How many questions nobody has answered yet."""
        return sum(one.is_open for one in self._asked.values())

    @property
    def wrong(self) -> int:
        """How many answers cannot stand."""
        return sum(bool(one.fault) for one in self._asked.values())

    def groups(self) -> Iterator[tuple[str, list[FormQuestion]]]:
        """Yield the questions by the fact that they belong to."""
        for group, questions in groupby(self.questions, key=lambda one: one.group):
            yield group, list(questions)

    def ask(self, question: SheetQuestion, read: Callable[[str], T]) -> T | None:
        """Take down a question with its answer; return what stands, also unanswered by its default or an offer."""
        told = tuple(self._said)
        self._said.clear()
        text = self._kept.get(question.path)
        if text is None:
            offered = self._offer(question.path, self._kept)
            if offered is not None and (value := _read_or_none(read, offered[0])) is not None:
                self._asked[question.path] = FormQuestion(question, offered[0], True, "", offered[1], told)
                return value
            self._asked[question.path] = FormQuestion(question, question.default or "", True, told=told)
            return None if question.default is None else _read_or_none(read, question.default)
        shown = FormQuestion(question, text, False, told=told)
        if not text and question.default is None:
            self._asked[question.path] = replace(shown, fault="This needs an answer.")
            return None
        try:
            value = read(text or question.default or "")
        except ValueError as error:
            self._asked[question.path] = replace(shown, fault=f"{text!r} cannot stand: {error}")
            return None
        self._asked[question.path] = shown
        return value

    def tell(self, path: str, sentence: str) -> None:  # noqa: ARG002 - it is said just before its question
        """Keep what is said for the next question, which is at that path or below it."""
        self._said.append(sentence)

    def asks_again(self, path: str, why: str) -> bool:
        """Say at the first question below a path why its answers cannot stand together, once all are given."""
        below = [one for one in self._below(path) if one.is_open or one.fault]
        if not below:
            self._blame(path, f"These cannot stand together: {why}")
        return False

    def _below(self, path: str) -> list[FormQuestion]:
        return [one for one in self.questions if one.path == path or one.path.startswith(f"{path}/")]

    def _blame(self, path: str, why: str) -> None:
        found = self._below(path) or [one for one in self.questions if one.path == f"{path}?"]
        first = (found or list(self.questions))[0]
        self._asked[first.path] = replace(first, fault=why)


def _read_or_none(read: Callable[[str], T], text: str) -> T | None:
    try:
        return read(text)
    except ValueError:
        return None
