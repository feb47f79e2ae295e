"""A visit on one screen: five questions, each with its answer in a sentence and what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from handsfree.desk.concerns import BROKEN, GRAVE
from handsfree.desk.supervision import JudgedItem
from handsfree.store.kept import Concern
from handsfree.trades.supervision import About, AssessedAs

AnsweredAs = Literal["yes", "no", "look", "cannot tell"]
"""All holds; something grave does not; something lesser does not; not everything can be told from the record."""

ASKED: dict[About, str] = {
    "right": "Done right?",
    "order": "In order?",
    "settled": "Settled?",
    "back": "All put back?",
    "trust": "To be trusted?",
}


@dataclass(frozen=True)
class VisitAnswer:
    """One of the five: what is asked, the answer, its sentence, the entry to see, and all that it rests on."""

    about: About
    asks: str
    result: AnsweredAs
    says: str
    seq: int | None
    items: tuple[JudgedItem, ...]


def answers_of(
    items: Sequence[JudgedItem], concerns: Sequence[Concern], holds: dict[About, str]
) -> tuple[VisitAnswer, ...]:
    """Return the five answers; `holds` has the sentence of each that is answered with yes."""
    return tuple(_answer(about, items, concerns, holds.get(about, "")) for about in ASKED)


def _answer(about: About, items: Sequence[JudgedItem], concerns: Sequence[Concern], holds: str) -> VisitAnswer:
    mine = tuple(item for item in items if item.about == about and item.finding.applies)
    open_ = [concern for concern in concerns if concern.about == about]
    unsure = [item for item in mine if item.finding.result == AssessedAs.CANNOT_TELL]
    if not open_ and concerns and concerns[0].weight >= BROKEN:
        says = "The record does not verify: nothing can be concluded from it."
        return VisitAnswer(about, ASKED[about], "cannot tell", says, None, mine)
    if open_:
        first = open_[0]
        more = f" And {len(open_) - 1} more, listed below." if len(open_) > 1 else ""
        result: AnsweredAs = "no" if first.weight >= GRAVE else "look"
        return VisitAnswer(about, ASKED[about], result, f"{first.kind}: {first.says}.{more}", first.seq, mine)
    if not mine:
        return VisitAnswer(
            about, ASKED[about], "yes", holds or "The procedure asks for nothing of it.", None, mine
        )
    if unsure:
        holding = len(mine) - len(unsure)
        why = f" {unsure[0].says}: {unsure[0].finding.why}." if unsure else ""
        count = (
            f"{holding} of {len(mine)} checks hold, {len(unsure)} cannot be told." if holding else _none(len(mine))
        )
        says = f"{count}{why}"
        return VisitAnswer(about, ASKED[about], "cannot tell", says, None, mine)
    seq = next((item.finding.seq for item in mine if item.finding.seq is not None), None)
    return VisitAnswer(about, ASKED[about], "yes", f"{holds} {_count(len(mine))}".strip(), seq, mine)


def _none(checks: int) -> str:
    return "The one check of it cannot be told." if checks == 1 else f"None of {checks} checks can be told."


def _count(checks: int) -> str:
    return "The one check of it holds." if checks == 1 else f"All {checks} checks of it hold."
