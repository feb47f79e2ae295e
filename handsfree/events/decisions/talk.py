"""What is said and asked, what was understood, and what is noted beside it."""

from __future__ import annotations

from typing import Literal

from handsfree.events.inputs import Record
from handsfree.questions import Question


class Said(Record):
    """Something for the tool to say that asks nothing."""

    kind: Literal["said"] = "said"
    text: str


class Asked(Record):
    """A question: the tool says it and then expects an answer to it."""

    kind: Literal["asked"] = "asked"
    at: int
    question: Question
    text: str
    attempt: int = 1
    until: int | None = None
    """For a wait: when it ends."""


class ToneSounded(Record):
    """A tone: attention before readings, or the alarm of an unanswered firing gate."""

    kind: Literal["tone"] = "tone"
    name: Literal["attention", "alarm"]


class Understood(Record):
    """Which meaning was chosen from what was heard or typed, and what spoke against it."""

    kind: Literal["understood"] = "understood"
    meaning: str
    doubt: str = ""


class NotUnderstood(Record):
    """Nothing that the question accepts; counted for each question."""

    kind: Literal["not-understood"] = "not-understood"
    why: str


class Noted(Record):
    """A note; it is kept as sound or typed words."""

    kind: Literal["noted"] = "noted"
    at: int
    text: str
    sound: str | None
    gate: str = ""
    """Where it belongs to an answer, that answer's gate."""
    answer: str = ""
    """The answer as it is said, such as "advised"."""


class AnsweredBy(Record):
    """An answer was given by another than the technician: a second person by their number, or the customer."""

    kind: Literal["answered-by"] = "answered-by"
    at: int
    gate: str
    role: Literal["second person", "customer"]
    name: str = ""
    """A second person's, as the job sheet has it beside the number that was called."""
