"""What the paper of a visit says: the report of one that finished, or the document of one that did not.

Every sentence follows from the record and the procedure. Page one is for a reader who knows no trade; what a
colleague needs follows on page two. It never says that anything is safe.
"""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.desk import ending_words as words
from handsfree.desk import facts, tables, wording
from handsfree.desk.carried_in import carried_in
from handsfree.desk.dossier import Dossier, seal_words
from handsfree.desk.ending import EndKind
from handsfree.desk.evidence import Evidence
from handsfree.desk.forms import Headings
from handsfree.desk.notice import Notice, notice_of
from handsfree.desk.photos import PaperPhoto, paper_photos
from handsfree.desk.rules_done import warning_due
from handsfree.desk.rules_order import wrong_conditions
from handsfree.desk.tables import Row
from handsfree.events import decisions as ev
from handsfree.lexicon.catalogue import sentence_case
from handsfree.office.endorsements import VERDICTS

TITLES: dict[EndKind, str] = {
    "finished": "Report",
    "incomplete": "Incomplete visit",
    "left-off": "Stopped and left off",
    "stopped": "Stopped work",
    "open": "Visit that is not closed",
    "damaged": "Damaged record",
}
"""What a paper is called, by how the visit ended."""


@dataclass(frozen=True)
class Paper:
    """The document's parts in the order they stand; tables have their headings as first row."""

    kind: EndKind
    title: str
    headings: Headings
    in_short: list[str]
    """How it ended and what stands, in plain words."""
    supervisor: list[str]
    """What the supervisor said of this record."""
    facts: list[tuple[str, str]]
    earlier: list[str]
    """What was carried in from earlier visits, and how values changed since."""
    turned: list[str]
    warning: list[str]
    until: str
    measured_heading: str
    measured: list[Row]
    conditions: list[str]
    """Readings that were taken under other conditions than asked."""
    stops: list[str]
    not_done: list[str]
    not_reached: list[str]
    put_back: str
    advice: list[str]
    verdicts: list[Row]
    others: str
    steps_not_reached: str
    cautions: tuple[str, ...]
    seal: str
    photos: list[PaperPhoto]
    signatures: list[str]
    foot: str
    notice: Notice | None
    """Beside the document of a visit that was left off."""


def paper_of(dossier: Dossier) -> Paper:
    """Return what the paper says of a visit."""
    evidence = dossier.evidence
    recorded, opened, ending = evidence.recorded, evidence.recorded.opened, evidence.ending
    form = evidence.forms.report
    head = dossier.report.head
    seal = f"{head.count} entries, checksum {head.checksum}" if head else "no entries"
    demo = "DEMO: " if dossier.report.demo else ""
    return Paper(
        kind=ending.kind,
        title=f"{demo}{TITLES[ending.kind]}: {recorded.procedure_title}",
        headings=form.headings,
        in_short=in_short(dossier),
        supervisor=supervisors_word(dossier),
        facts=facts.facts(evidence, earlier=False),
        earlier=[f"{name}: {text}" for name, text in carried_in(evidence)],
        turned=facts.turned(evidence),
        warning=[sentence_case(why) for why in warning_due(evidence)],
        until=facts.kept_off(evidence),
        measured_heading=tables.heading(evidence),
        measured=tables.found_and_left(evidence),
        conditions=[finding.why for finding in wrong_conditions(evidence)],
        stops=words.stop_lines(ending.stops),
        not_done=words.not_done(ending),
        not_reached=words.not_reached(ending),
        put_back=words.put_back(evidence),
        advice=facts.advice(evidence),
        verdicts=_verdicts(evidence),
        others=_others(evidence),
        steps_not_reached="; ".join(ending.never_reached),
        cautions=form.cautions,
        seal=f"{seal_words(dossier.report.verdict.value)}: {dossier.report.sentence}. Checked: "
        f"{', '.join(dossier.report.checks) or 'nothing'}. "
        f"Recorded by {opened.program}, procedure {opened.procedure}.",
        photos=paper_photos(evidence),
        signatures=facts.lines(evidence, form.signatures),
        foot=f"{demo}{opened.job}, {opened.appliance} {opened.serial}, {opened.day}. {seal}",
        notice=notice_of(evidence),
    )


def in_short(dossier: Dossier) -> list[str]:
    """Return how the visit ended and what stands, a thought a sentence."""
    evidence, ending = dossier.evidence, dossier.evidence.ending
    told = []
    if dossier.report.verdict.value == "broken":
        told.append("THE RECORD BEHIND THIS PAPER DOES NOT VERIFY: nothing can be concluded from it.")
    told.append(words.end_sentence(evidence))
    told += words.taken_back(ending)
    if ending.lacking:
        told.append(f"Not shown on this visit: {words.lacking(ending)}.")
    if ending.came_to_its_end:
        told.append(words.judged_sentence(evidence))
    if ending.left_out:
        told.append(words.left_out(ending))
    told.append(words.put_back(evidence))
    if ending.in_force or ending.left:
        told.append(facts.kept_off(evidence))
    return told


def supervisors_word(dossier: Dossier) -> list[str]:
    """Return what supervisors said of this record, the last first; a sign-off that does not hold says so."""
    zone = dossier.evidence.recorded.minutes_east
    told = [
        f"This sign-off shows nobody's word ({each.fault or each.doubt}): "
        f"{each.by}, {VERDICTS.get(each.verdict, each.verdict)}."
        if not each.counts
        else f"{VERDICTS.get(each.verdict, each.verdict)} by {each.by}, {wording.local(each.at, zone)}."
        + (f" Remark: {each.remark}" if each.remark else "")
        for each in reversed(dossier.sign_offs)
    ]
    return told or ["No supervisor has given a verdict on this record."]


def _verdicts(evidence: Evidence) -> list[Row]:
    rows = [["What", "Value and limits", "Verdict", "Limit from"]]
    for _, verdict in evidence.final_verdicts:
        rows.append(
            [
                evidence.recorded.gate_title(verdict.gate),
                _value_and_limits(verdict),
                wording.outcome(verdict.outcome, demonstrated=verdict.demonstrated)
                + ("" if evidence.stands(verdict) else "; a later one stands"),
                "; ".join(dict.fromkeys(wording.source(one) for one in verdict.sources)),
            ]
        )
    return rows


def _value_and_limits(verdict: ev.VerdictGiven) -> str:
    """Return the value with its expanded uncertainty (k = 2, about 95 %, JCGM 100:2008, 6.2) and its limits."""
    value, band = verdict.numbers.get("value"), verdict.numbers.get("band")
    if value is None or band is None:
        return wording.verdict(verdict)
    standard = verdict.numbers.get("standard uncertainty", "").split(" ")[0]
    share = wording.expanded(standard, value.split(" ")[0]) if standard else ""
    return f"{value}{share}, limits {band}"


def _others(evidence: Evidence) -> str:
    told = tables.found_and_left(evidence)
    shown = set(evidence.forms.report.measured.quantities) if len(told) > 1 else set()
    last = {
        event.reading.quantity: event.reading
        for _, event in evidence.readings
        if event.reading.quantity not in shown
    }
    each = [f"{wording.quantity(name)} {wording.value(reading)}" for name, reading in last.items()]
    return "; ".join(each) + "." if each else "None."
