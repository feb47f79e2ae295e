"""What the customer's page says: what was done and, as plainly, what was not checked.

Every sentence follows from the record, the procedure and the sheets kept with it. No figure stands without its
unit and where it comes from. It promises nothing, and never says that anything is safe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from handsfree.desk import ending_words as words
from handsfree.desk import facts, paper, tables, wording
from handsfree.desk.carried_in import since_then
from handsfree.desk.dossier import Dossier, seal_words
from handsfree.desk.ending import EndKind
from handsfree.desk.evidence import Evidence, number
from handsfree.desk.forms import CustomerForm, NumberTold, PagesCheck
from handsfree.desk.measured import Group
from handsfree.desk.notice import Notice, notice_of
from handsfree.desk.photos import PaperPhoto, paper_photos
from handsfree.desk.rules_done import warning_due
from handsfree.desk.signatures import DrawnSignature, drawn_signatures
from handsfree.desk.spans import GateSpan
from handsfree.desk.tables import NONE, Row
from handsfree.events import decisions as ev
from handsfree.gates.outcomes import NOT_DONE
from handsfree.lexicon.catalogue import sentence_case
from handsfree.trades.calculation import MISSING
from handsfree.trades.figures import Figure

_WENT_BACK = "went back"


@dataclass(frozen=True)
class CustomersPage:
    """The page's parts in the order they stand; tables have their headings as first row."""

    kind: EndKind
    title: str
    in_short: list[str]
    facts: list[tuple[str, str]]
    earlier: list[str]
    """What the visits before left, and how that stands now."""
    turned: list[str]
    warning: list[str]
    until: str
    measured_heading: str
    measured: list[Row]
    judged: list[Row]
    sources: list[str]
    """Where each figure comes from."""
    checked: list[Row]
    not_checked: list[str]
    """What was not checked, each with the reason."""
    listed: bool
    """Whether the trade lists what a customer is to be told of; without a list nothing can be called complete."""
    advice: list[str]
    """What was found, advised and fitted."""
    next_visit: str
    cautions: tuple[str, ...]
    unsigned: str
    """Why nobody signed; empty where there are lines to sign on."""
    photos: list[PaperPhoto]
    signatures: list[str]
    drawn: list[DrawnSignature]
    """What was signed on the phone; it stands over the line of whoever signed."""
    seal: str
    foot: str
    notice: Notice | None
    """On a page of its own, where one is due."""


def customers_page(dossier: Dossier) -> CustomersPage:
    """Return what the customer's page says of a visit."""
    evidence = dossier.evidence
    form, opened = evidence.forms.report, evidence.recorded.opened
    head = dossier.report.head
    seal = f"{head.count} entries, checksum {head.checksum}" if head else "no entries"
    answered, not_checked = _checks(evidence, form.customer.checks)
    figures = _figures(evidence)
    demo = "DEMO: " if dossier.report.demo else ""
    drawn = drawn_signatures(evidence)
    unsigned = "" if any(one.whose == "customer" for one in drawn) else _unsigned(evidence, form.customer)
    return CustomersPage(
        kind=evidence.ending.kind,
        title=f"{demo}{paper.TITLES[evidence.ending.kind]}: {evidence.recorded.procedure_title}",
        in_short=paper.in_short(dossier),
        facts=facts.facts(evidence, earlier=False, witness=False),
        earlier=list(since_then(evidence)),
        turned=facts.turned(evidence),
        warning=[sentence_case(why) for why in warning_due(evidence)],
        until=facts.kept_off(evidence),
        measured_heading=tables.heading(evidence),
        measured=_measured(evidence, figures),
        judged=_judged(evidence, form.customer.numbers),
        sources=_sources(evidence, figures),
        checked=[["Checked", "Answer"], *answered],
        listed=bool(form.customer.checks),
        not_checked=[*not_checked, *words.not_done(evidence.ending), *words.not_reached(evidence.ending)],
        advice=facts.advice(evidence),
        next_visit=_next_visit(evidence),
        cautions=form.cautions,
        unsigned=unsigned,
        photos=paper_photos(evidence),
        drawn=drawn,
        signatures=[] if unsigned else facts.lines(evidence, form.signatures),
        seal=f"{seal_words(dossier.report.verdict.value)}: {dossier.report.sentence}. "
        f"Recorded by {opened.program}, procedure {opened.procedure}.",
        foot=f"{demo}{opened.job}, {opened.appliance} {opened.serial}, {opened.day}. {seal}",
        notice=notice_of(evidence),
    )


def _next_visit(evidence: Evidence) -> str:
    """Return what comes next: what must be put right before all else, where work was left off."""
    form = evidence.forms.report
    agreed = facts.filled(evidence, form.customer.next_visit)
    if evidence.ending.in_force or evidence.ending.left:
        return f"{facts.kept_off(evidence)} {agreed}".strip()
    return agreed or form.customer.otherwise


def _checks(evidence: Evidence, checks: Sequence[PagesCheck]) -> tuple[list[Row], list[str]]:
    """Return what was checked with its answer, and what was not by its reason; nothing stands in both."""
    answered: list[Row] = []
    lacking: dict[str, list[str]] = {}
    undone = {event.gate: wording.reason(event.reason) for _, event in evidence.not_done}
    passed_over = {one.gate: one.reason for one in evidence.ending.not_asked}
    ended = "Not asked on the way that this visit went" if evidence.ending.came_to_its_end else "Not come to"
    for check in checks:
        gates = evidence.gate_ids(check.gates)
        passages = [span for span in evidence.gates if span.gate in gates and span.outcome]
        last = passages[-1] if passages else None
        if not gates:
            if not check.own:
                lacking.setdefault("No part of this visit", []).append(check.says)
        elif last is not None and last.gate in passed_over:
            lacking.setdefault(f"Not asked, since {passed_over[last.gate]}", []).append(check.says)
        elif last is not None and (why := _not_judged(evidence, last)):
            lacking.setdefault(why, []).append(check.says)
        elif last is not None and last.outcome not in {NOT_DONE, _WENT_BACK}:
            answered.append([check.says, _answer(evidence, last.gate, last.outcome)])
        elif last is not None and last.gate in undone:
            lacking.setdefault(f"Not done, because {undone[last.gate]}", []).append(check.says)
        else:
            lacking.setdefault(ended, []).append(check.says)
    return answered, [f"{why}: {'; '.join(names)}." for why, names in lacking.items()]


def _not_judged(evidence: Evidence, span: GateSpan) -> str:
    """Return why a verdict judged nothing; empty where it did, or the gate gives none."""
    given = [one for _, one in evidence.verdicts if one.gate == span.gate]
    return "Not judged, since a reading is missing" if given and given[-1].outcome == MISSING else ""


def _answer(evidence: Evidence, gate: str, outcome: str) -> str:
    """Return how a gate was answered, in the word that was heard; a verdict with its value."""
    plan = evidence.recorded.plan
    phrases = plan.gate(gate).gate.phrases.get(outcome) if plan is not None else None
    if phrases:
        return phrases[0]
    given = [verdict for _, verdict in evidence.verdicts if verdict.gate == gate]
    return f"{wording.outcome(outcome)}, {_value(evidence, given[-1])}" if given else wording.outcome(outcome)


def _figures(evidence: Evidence) -> dict[int, tuple[Figure, ...]]:
    """Return what the trade works out from each group that is told, by the group's place in the record."""
    plan = evidence.recorded.plan
    if plan is None:
        return {}
    work_out = plan.trade.figures
    told = {id(group): group for pair in evidence.pairs for group in (pair.found, pair.left, pair.last) if group}
    return {key: work_out(plan.sheets, _values(evidence, group)) for key, group in told.items()}


def _values(evidence: Evidence, group: Group) -> dict[str, Decimal]:
    """Return a group's numbers, with those that were read after it before the next group of its kind began."""
    others = [each for each in evidence.main if each.began > group.began]
    until = min((each.began for each in others), default=None)
    near = [each for each in evidence.groups if each.stands and each.began > group.ended]
    beside = [each for each in near if until is None or each.ended < until]
    found: dict[str, Decimal] = {}
    for each in [*reversed(beside), group]:
        numbers = {name: number(value.reading.value) for name, value in each.values.items()}
        found |= {name: value for name, value in numbers.items() if value is not None}
    return found


def _measured(evidence: Evidence, figures: dict[int, tuple[Figure, ...]]) -> list[Row]:
    """Return the table of found and left with the maker's band, and with what follows from the readings."""
    rows = tables.found_and_left(evidence, fully=True)
    form, ended = evidence.forms.report.measured, evidence.finished
    if len(rows) < 2 or form.layout != "columns":
        return rows
    groups = [group for pair in evidence.pairs for group in (pair.found, pair.left if ended else pair.last)]
    each = [{one.says: one for one in figures.get(id(group), ())} for group in groups]
    names = dict.fromkeys(name for held in each for name in held)
    own = [[name, *(_written(held[name]) if name in held else NONE for held in each)] for name in names]
    place = 1 + len(form.quantities) + len(form.computed)
    bands = ["Limits", *(_limits_of(evidence, group) for group in groups)]
    kept = [row for row in rows[place:] if row[0] not in {"Band", "Sets, taken"}]
    return [*rows[:place], *own, *kept, bands]


def _limits_of(evidence: Evidence, group: Group | None) -> str:
    """Return the limits that a group was judged by, with their unit; what failed otherwise says so."""
    verdict = group.verdict(evidence.forms.report.measured.judged_by) if group else None
    if verdict is None or "band" not in verdict.numbers:
        return NONE
    if verdict.outcome in {"within", "outside", "too-close"}:
        return f"{verdict.numbers['band']} {_unit(evidence, verdict)}".strip()
    return wording.verdict(verdict)


def _written(figure: Figure) -> str:
    return f"{figure.value} {wording.unit(figure.unit)}".strip()


def _judged(evidence: Evidence, numbers: Sequence[NumberTold]) -> list[Row]:
    """Return what was judged with value, limits and where they come from; a verdict without a value is no row."""
    rows = [["Judged", "Value", "Limits", "Verdict", "Limits from"]]
    shown = set(evidence.forms.report.measured.judged_by)
    for _, verdict in evidence.standing_verdicts:
        sources = "; ".join(dict.fromkeys(wording.source(one) for one in verdict.sources if one))
        outcome = wording.outcome(verdict.outcome, demonstrated=verdict.demonstrated)
        title = evidence.recorded.gate_title(verdict.gate)
        for one in numbers:
            if one.calculation == verdict.calculation and one.number in verdict.numbers:
                value = f"{verdict.numbers[one.number]} {one.unit} {verdict.numbers.get(one.basis, '')}".strip()
                beside = verdict.numbers.get(one.beside)
                rows.append(
                    [
                        one.says,
                        value,
                        f"{one.beside_says} {beside} {one.unit}" if beside else NONE,
                        outcome,
                        sources,
                    ]
                )
        if verdict.calculation in shown or not sources:
            continue  # it stands in the table of found and left
        unit = _unit(evidence, verdict)
        limits = verdict.numbers.get("band") or verdict.numbers.get("limit", "")
        if "value" in verdict.numbers and limits:
            rows.append([title, _value(evidence, verdict), f"{limits} {unit}".strip(), outcome, sources])
        for name in [name for name in verdict.numbers if f"{name} band" in verdict.numbers]:
            value, band = verdict.numbers[name], verdict.numbers[f"{name} band"]
            rows.append(
                [f"{title}, {name}", f"{value} {unit}".strip(), f"{band} {unit}".strip(), outcome, sources]
            )
    return rows


def _value(evidence: Evidence, verdict: ev.VerdictGiven) -> str:
    """Return a verdict's value with its unit, or its sentence where it has no one value."""
    value = verdict.numbers.get("value", "")
    if not value:
        return wording.verdict(verdict)
    return value if " " in value else f"{value} {_unit(evidence, verdict)}".strip()


def _unit(evidence: Evidence, verdict: ev.VerdictGiven) -> str:
    plan = evidence.recorded.plan
    known = None if plan is None else plan.trade.calculations.get(verdict.calculation)
    return "" if known is None or known.unit is None else wording.unit(known.unit)


def _sources(evidence: Evidence, figures: dict[int, tuple[Figure, ...]]) -> list[str]:
    """Return where the figures of the table come from: the instrument, the maker's pages, and each formula."""
    opened, form = evidence.recorded.opened, evidence.forms.report.measured
    told = []
    if opened.instrument:
        until = f", calibrated until {opened.calibrated_until}" if opened.calibrated_until else ""
        told.append(f"Readings: {opened.instrument}, serial {opened.instrument_serial}{until}.")
    judged = [verdict for _, verdict in evidence.verdicts if verdict.calculation in form.judged_by]
    limits = dict.fromkeys(wording.source(one) for verdict in judged for one in verdict.sources if one)
    if limits:
        told.append(f"Bands: {'; '.join(limits)}.")
    worked_out: dict[str, dict[str, None]] = {}
    for one in (one for held in figures.values() for one in held):
        worked_out.setdefault(one.says, {})[wording.with_units(one.source)] = None
    told += [f"{says}: {'; '.join(sources)}." for says, sources in worked_out.items()]
    if any(verdict.outcome == "within" and not verdict.demonstrated for _, verdict in evidence.standing_verdicts):
        told.append("Not demonstrated: inside the limits, but nearer to one than the instrument can tell apart.")
    return told


def _unsigned(evidence: Evidence, form: CustomerForm) -> str:
    """Return why nobody signed, where the visit says so."""
    gates = evidence.gate_ids(form.signing)
    why = {event.gate: event.reason for _, event in evidence.not_done}
    for gate in gates:
        if gate in why:
            return f"Not signed because: {wording.reason(why[gate])}."
    return ""
