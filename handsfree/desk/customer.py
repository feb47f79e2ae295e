"""What the customer's report says, before it is set as PDF or HTML."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.desk import facts, tables, wording
from handsfree.desk.dossier import Dossier, seal_words
from handsfree.desk.forms import Headings
from handsfree.desk.notice import Notice, notice_of
from handsfree.desk.rules_done import warning_due
from handsfree.desk.tables import Row
from handsfree.events import decisions as ev


@dataclass(frozen=True)
class Customer:
    """The report's parts in the order they stand; tables have their headings as first row."""

    title: str
    headings: Headings
    sentence: str
    facts: list[tuple[str, str]]
    warning: list[str]
    until: str
    measured: list[Row]
    verdicts: list[Row]
    others: str
    advice: list[str]
    not_done: list[str]
    put_back: str
    cautions: tuple[str, ...]
    seal: str
    signatures: list[str]
    foot: str
    notice: Notice | None
    """Beside the report of a visit that was left off."""


def customer_report(dossier: Dossier) -> Customer:
    """Return what the report says of a visit."""
    recorded, opened = dossier.evidence.recorded, dossier.evidence.recorded.opened
    head = dossier.report.head
    seal = f"{head.count} entries, checksum {head.checksum}" if head else "no entries"
    broken = dossier.report.verdict.value == "broken"
    evidence, form = dossier.evidence, dossier.evidence.forms.report
    ended = recorded.closed.outcome if recorded.closed else "open"
    return Customer(
        title=form.title.of(ended),
        headings=form.headings,
        sentence=("THE RECORD BEHIND THIS REPORT DOES NOT VERIFY. " if broken else "") + dossier.sentence,
        facts=facts.facts(evidence),
        warning=warning_due(evidence),
        until=form.until,
        measured=tables.found_and_left(evidence),
        verdicts=_verdicts(dossier),
        others=_others(dossier),
        advice=[
            f"{recorded.gate_title(event.gate)}, {event.answer}: {event.text or 'told by voice, kept as sound'}"
            for event in evidence.noted
        ],
        not_done=[f"Left incomplete: {one.what}, {one.why}" for one in _lacking(dossier)]
        + [
            f"{recorded.gate_title(event.gate)}: {event.reason or 'reason kept as sound'}"
            for _, event in evidence.not_done
        ],
        put_back=_put_back(dossier),
        cautions=form.cautions,
        seal=f"{seal_words(dossier.report.verdict.value)}: {dossier.report.sentence}. Checked: "
        f"{', '.join(dossier.report.checks) or 'nothing'}. "
        f"Recorded by {opened.program}, procedure {opened.procedure}.",
        signatures=facts.lines(evidence, form.signatures),
        foot=f"{opened.job}, {opened.appliance} {opened.serial}, {opened.day}. {seal}",
        notice=notice_of(evidence),
    )


def _lacking(dossier: Dossier) -> tuple[ev.Lacking, ...]:
    closed = dossier.evidence.recorded.closed
    return closed.lacking if closed is not None and closed.outcome == "incomplete" else ()


def _verdicts(dossier: Dossier) -> list[Row]:
    rows = [["What", "Value, band, standard uncertainty", "Verdict", "Limit from"]]
    for _, verdict in dossier.evidence.final_verdicts:
        numbers = verdict.numbers
        value = numbers.get("value")
        told = verdict.sentence
        if value is not None and "band" in numbers:
            share = f", u = {numbers['standard uncertainty']}" if "standard uncertainty" in numbers else ""
            told = f"{value}, band {numbers['band']}{share}"
        rows.append(
            [
                dossier.evidence.recorded.gate_title(verdict.gate),
                told,
                wording.outcome(verdict.outcome, demonstrated=verdict.demonstrated),
                "; ".join(dict.fromkeys(verdict.sources)),
            ]
        )
    return rows


def _others(dossier: Dossier) -> str:
    last = {
        event.reading.quantity: event.reading
        for _, event in dossier.evidence.readings
        if event.reading.quantity not in dossier.evidence.forms.report.measured.quantities
    }
    told = [f"{wording.quantity(name)} {wording.value(reading)}" for name, reading in last.items()]
    return "; ".join(told) + "." if told else "None."


def _put_back(dossier: Dossier) -> str:
    left = [span for span in dossier.evidence.alterations if span.until is None]
    if left:
        return "Still altered: " + wording.listed([f"{span.said} {span.state}" for span in left]) + "."
    settings = [f"{span.said} {span.left}" for span in dossier.evidence.alterations if span.left]
    count = len(dossier.evidence.alterations)
    return f"All {count} alterations were put back" + (
        f"; settings: {wording.listed(settings)}." if settings else "."
    )
