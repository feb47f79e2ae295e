"""All that the page of a visit shows, as plain data: made once when a visit is examined, and kept."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby
from pathlib import Path

from pydantic import TypeAdapter

from handsfree.desk import chart, ending_words, facts, outcome, rules_readings, tables, wording
from handsfree.desk.answers import VisitAnswer, answers_of
from handsfree.desk.concerns import concerns_of, copied, in_order
from handsfree.desk.ending import EndKind
from handsfree.desk.evidence import Evidence
from handsfree.desk.photos import ShownPhoto, photos_of
from handsfree.desk.spans import Alteration
from handsfree.desk.supervision import JudgedItem, JudgedLine, judge
from handsfree.ledger import VerificationReport
from handsfree.rehearing.findings import HeardAgain
from handsfree.store.kept import Concern
from handsfree.trades.supervision import About


def by_kind(concerns: Sequence[Concern]) -> list[tuple[str, list[Concern]]]:
    """Return concerns in their order, those of one kind that follow each other together."""
    return [(kind, list(of_it)) for kind, of_it in groupby(concerns, key=lambda one: one.kind)]


@dataclass(frozen=True)
class VisitView:
    """One visit as its page shows it."""

    appliance: str
    serial: str
    job: str
    day: str
    began: str
    """When the visit began, in its own zone."""
    lasted: str
    minutes_east: int
    procedure: str
    sentence: str
    kind: EndKind
    facts: list[tuple[str, str]]
    judged: tuple[JudgedLine, ...]
    concerns: tuple[Concern, ...]
    holds: dict[About, str]
    measured_heading: str
    measured: list[tables.Row]
    alterations: list[Alteration]
    drawn: chart.Chart
    phases: list[tuple[str, int, int]]
    damage: str
    plan_fault: str
    report: VerificationReport
    heard_again: HeardAgain | None = None
    photos: tuple[ShownPhoto, ...] = ()

    @property
    def items(self) -> list[JudgedItem]:
        """Everything that was judged."""
        return [item for line in self.judged for item in line.items]

    @property
    def answers(self) -> tuple[VisitAnswer, ...]:
        """The five answers."""
        return answers_of(self.items, self.concerns, self.holds)

    @property
    def unresolved(self) -> list[tuple[str, list[Concern]]]:
        """What is unresolved, the concerns of one kind together: ten things left altered are one line."""
        return by_kind(self.concerns)

    @property
    def clean(self) -> bool:
        """Whether nothing at all stands out, and the record is whole and anchored."""
        return self.report.ok and not self.concerns and self.kind == "finished"

    def beside(self, alike: list[str]) -> VisitView:
        """Return the view with what other visits show of it."""
        judged = tuple(
            replace(
                line,
                items=tuple(
                    replace(item, finding=rules_readings.copied(alike)) if item.rule == "not-copied" else item
                    for item in line.items
                ),
            )
            for line in self.judged
        )
        return replace(self, judged=judged, concerns=in_order([*self.concerns, *copied(alike)]))


def view_of(evidence: Evidence, report: VerificationReport) -> VisitView:
    """Return what the page shows of a visit, without what only other visits can show."""
    recorded, opened = evidence.recorded, evidence.recorded.opened
    judged = judge(evidence)
    return VisitView(
        appliance=opened.appliance,
        serial=opened.serial,
        job=opened.job,
        day=opened.day,
        began=wording.local(recorded.steps[0].wall, recorded.minutes_east),
        lasted=wording.clock(recorded.steps[-1].at),
        minutes_east=recorded.minutes_east,
        procedure=recorded.procedure_title,
        sentence=outcome.sentence(evidence),
        kind=evidence.ending.kind,
        facts=facts.facts(evidence),
        judged=judged,
        concerns=concerns_of(evidence, judged),
        holds=_holds(evidence, judged, report),
        measured_heading=tables.heading(evidence),
        measured=tables.found_and_left(evidence, fully=True),
        alterations=evidence.alterations,
        drawn=chart.draw(evidence),
        phases=chart.phases(evidence),
        damage=recorded.damage,
        plan_fault=recorded.plan_fault,
        report=report,
        heard_again=evidence.heard_again,
        photos=tuple(photos_of(evidence)),
    )


def _holds(evidence: Evidence, judged: tuple[JudgedLine, ...], report: VerificationReport) -> dict[About, str]:
    """Return the sentence of each answer that is yes."""
    why = {item.rule: item.finding.why for line in judged for item in line.items}
    trusted = report.anchor.says if report.anchor else report.sentence
    told: dict[About, str] = {
        "right": ending_words.judged_sentence(evidence),
        "settled": why.get("settled", ""),
        "back": ending_words.put_back(evidence),
        "trust": trusted,
    }
    return {about: _sentence(text) for about, text in told.items() if text}


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


@cache
def _adapter() -> TypeAdapter[VisitView]:
    return TypeAdapter(VisitView)


def packed(view: VisitView) -> bytes:
    """Return a view as it is kept, without its folder, whose name may be no text: JSON, compressed."""
    kept = replace(view, report=replace(view.report, folder=Path()))
    return zlib.compress(_adapter().dump_json(kept), 6)


MOST_UNPACKED = 16 << 20
"""Bytes; a view of a day's visit has a thousandth of it."""


def unpacked(kept: bytes, folder: Path) -> VisitView:
    """Return the kept view of the visit in a folder; raise ValueError when it is none of this version."""
    data = zlib.decompressobj().decompress(kept, MOST_UNPACKED)
    view = _adapter().validate_json(data)
    return replace(view, report=replace(view.report, folder=folder))
