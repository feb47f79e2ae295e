"""Reading what older versions recorded: each entry's content is turned into the shape that it has today.

The sealed bytes never change; only what is read of them does. Version 2 named a question by a word and a text;
today it is an object with fields of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from handsfree.events.record import SCHEMA_VERSION, Event, from_record
from handsfree.trades import older_names

LAST_IN_WORDS = 2
"""The last version that named a question by a word and a text; what came later has defaults of its own."""

FIRST_WITH_THE_TURN = 4
"""The version from which the question for a turn holds the turn that was asked for."""

LAST_CLEARED = 3
"""The last version in which a reason alone cleared a hazard, and was read back; the event kept it too."""

LAST_OF_ONE_TRADE = 7
"""The last version that called what every trade has as the first trade does (`trades/older_names.py`)."""

_CLEARED, _STOPPED = "cleared-check", {"kind": "stopped"}

_OF_A_GATE = {"confirm": "to-do", "choice": "choice", "readings": "values", "timed": "values"}
"""Kind of gate -> the question that version 2 called "gate" there."""

_RENAMED = {"restore": "put-back", older_names.RECHECK: "still-firing"}


class Reader:
    """Reads the entries of one record in their order.

    `gate_kind` tells the kind of a gate of the recorded procedure, or None where it is not known; only records of
    version 2 need it.
    """

    def __init__(self, gate_kind: Callable[[str], str | None]) -> None:
        self._gate_kind = gate_kind
        self._version = SCHEMA_VERSION
        self._gate = ""
        self._read_back: tuple[str, ...] = ()
        self._advised: dict[str, Any] = {}

    def event(self, kind: str, content: Mapping[str, Any]) -> Event:
        """Return the event of an entry; pydantic's ValidationError when it is none of ours."""
        if kind == "visit-opened" and isinstance(content.get("schema_version"), int):
            self._version = content["schema_version"]
        if kind == "advised" and content.get("direction"):
            self._advised = {name: content.get(name) for name in ("direction", "eighths")}
        if kind == "asked" and self._version <= LAST_IN_WORDS and isinstance(content.get("question"), str):
            asked = dict(content)
            question, about = str(asked.pop("question")), str(asked.pop("about", ""))
            content = {**asked, "question": self._question(question, about)}
        if kind == "asked" and self._version < FIRST_WITH_THE_TURN:
            asked_of = content.get("question")
            if isinstance(asked_of, Mapping) and asked_of.get("kind") == "turn":
                content = {**content, "question": {**asked_of, **self._advised}}
        if kind == "asked" and self._version <= LAST_CLEARED and _kind(content) == _CLEARED:
            content = {**content, "question": _STOPPED}
        if self._version <= LAST_OF_ONE_TRADE:
            kind = older_names.KINDS.get(kind, kind)
            if kind == "visit-opened":
                content = opened_in_todays_form(content)
        event = from_record(kind, content)
        if event.kind == "gate-entered":
            self._gate = event.gate
        elif event.kind == "read-back":
            self._read_back = tuple(reading.quantity for reading in event.values)
        return event

    def _question(self, question: str, about: str) -> dict[str, Any]:
        """Return a question of version 2 as it is written today."""
        match question:
            case "gate":
                return {"kind": _OF_A_GATE.get(self._gate_kind(self._gate) or "", "to-do")}
            case "read-back":
                return {"kind": question, "quantities": self._read_back}
            case "once-more" | "digits":
                return {"kind": question, "quantity": about}
            case "which-value":
                return {"kind": question, "quantity": about or None}
            case "pair":
                return {"kind": "tied-values", "quantities": older_names.TIED}
            case older_names.ALIKE_QUESTION:
                called, other = older_names.ALIKE
                return {"kind": "alike-quantities", "quantity": called, "other": other}
            case "rate" | "recheck-rate":
                return {"kind": "rate", "recheck": question == "recheck-rate"}
            case "mark-first" | "mark-last":
                return {"kind": "mark", "which": question.removeprefix("mark-")}
            case "turn-check":
                direction, _, eighths = about.partition("=")
                return {"kind": question, "direction": direction, "eighths": int(eighths)}
            case "thing-check":
                thing, _, value = about.partition("=")
                return {"kind": question, "thing": thing, "value": value or None}
            case "thing-first" | "restore" | "recheck-thing":
                return {"kind": _RENAMED.get(question, question), "thing": about}
            case "answer-check":
                return {"kind": question, "answer": about}
            case "cleared-check":
                return _STOPPED
            case _:
                return {"kind": _RENAMED.get(question, question)}


def opened_in_todays_form(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return the first entry's content with every fact of the job sheet among its facts."""
    today = {name: value for name, value in content.items() if name != older_names.FACT}
    fact = content.get(older_names.FACT)
    if isinstance(fact, str) and isinstance(today.get("facts", {}), Mapping):
        today["facts"] = {older_names.FACT: fact, **today.get("facts", {})}
    return today


def _kind(content: Mapping[str, Any]) -> object:
    question = content.get("question")
    return question.get("kind") if isinstance(question, Mapping) else None
