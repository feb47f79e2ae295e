"""One visit examined for the index: read, verified, decided again and judged; run in a process of its own."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from handsfree.desk import wording
from handsfree.desk.evidence import AssessedAs, Evidence, set_of, value_given
from handsfree.desk.record import Recorded, load
from handsfree.desk.view import VisitView, packed, view_of
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.ledger import Entry, VerificationReport
from handsfree.office.endorsements import kept_lines
from handsfree.office.verification import endorsed, known_enrolment, verify_anchored
from handsfree.problem import Problem
from handsfree.rehearing.kept import last_known
from handsfree.store.kept import LEAST_SHARED, Concern, Examined, Row
from handsfree.trades.registered_rules import OWN_RULES
from handsfree.visit.replaying import replay_of


def verified(folder: Path, enrolment: Path | None = None, walked: list[Entry] | None = None) -> VerificationReport:
    """Verify a visit's record, its decisions included, against a list or this machine's own copy of one.

    `walked` takes the entries of a record that is whole.
    """
    return verify_anchored(folder, known_enrolment(enrolment), replay=replay_of(folder), walked=walked)


def stamp(folder: Path) -> str:
    """Return what changes when a visit's folder does, as far as the file system can say: every file's state."""
    parts = []
    for root, folders, names in os.walk(folder):
        folders.sort()
        for name in sorted(names):
            found = (Path(root) / name).lstat()
            parts.append(f"{name}:{found.st_size}:{found.st_mtime_ns}:{found.st_ctime_ns}:{found.st_ino}")
    return f"{hash_of(parts)}"


def hash_of(parts: list[str]) -> str:
    """Return a digest of texts in order."""
    return hashlib.sha256("\n".join(parts).encode("utf-8", "surrogateescape")).hexdigest()


def examine(folder: Path, enrolment: Path | None = None) -> Examined:
    """Return all the index keeps of a visit; a folder that cannot be read says why in its facts."""
    before = stamp(folder)
    try:
        walked: list[Entry] = []
        report = verified(folder, enrolment, walked)
        recorded = load(folder, walked)
    except Problem as problem:
        return Examined({"stamp": before, "seal": "unreadable", "sentence": problem.sentence()})
    evidence = Evidence(recorded, report, heard_again=last_known(folder), enrolment=known_enrolment(enrolment))
    view = view_of(evidence, report)
    signed = endorsed(report, kept_lines(folder), known_enrolment(enrolment)).standing
    facts = {
        **opening_facts(recorded.opened),
        **_sealed(report),
        **_outcome(evidence, view),
        "version": wording.version_told(recorded.opened),
        "calibrated_until": recorded.opened.calibrated_until or "",
        "stamp": before,
        "signed": signed.verdict if signed else "",
    }
    rows = {
        "reading": readings(evidence),
        "gate": _gates(evidence),
        "misheard": _misheard(recorded),
        "stop": _stops(evidence),
        "concern": [concern_row(place, concern) for place, concern in enumerate(view.concerns)],
        "shape": _shape(evidence),
    }
    return Examined(facts, rows, packed(view))


def concern_row(place: int, concern: Concern) -> Row:
    """Return a concern as the index keeps it."""
    return {**vars(concern), "place": place}


def opening_facts(opened: ev.VisitOpened) -> Row:
    """Return the facts of the first entry."""
    names = (
        "job", "site", "technician", "licence", "appliance", "serial", "instrument", "instrument_serial",
        "procedure", "day",
    )  # fmt: skip
    return {name: getattr(opened, name) or "" for name in names}


def _sealed(report: VerificationReport) -> Row:
    return {
        "seal": report.verdict.value,
        "sentence": report.sentence,
        "entries": report.head.count if report.head else 0,
        "checksum": report.head.checksum if report.head else "",
        "identity": report.identity or "",
        "device": report.device or "",
        "anchor": report.anchor.state.value if report.anchor else "",
        "anchored": report.anchor.says if report.anchor else "",
        "opened_at": report.opened_at or "",
    }


def _outcome(evidence: Evidence, view: VisitView) -> Row:
    closed = evidence.recorded.closed
    counted = [item.finding.result for item in view.items]
    return {
        "outcome": "damaged" if evidence.recorded.damage else closed.outcome if closed else "open",
        "summary": view.sentence,
        "told": evidence.told,
        "turns": len(evidence.turns),
        "minutes": round(evidence.recorded.seconds / 60, 1),
        "not_done": len(evidence.not_done),
        "fails": counted.count(AssessedAs.FAIL),
        "unsure": counted.count(AssessedAs.CANNOT_TELL),
        "clean": view.clean,
    }


def _shape(evidence: Evidence) -> list[Row]:
    """Return the trade's own readings, each by its point, set and value, so that copied sets are found.

    One changed value changes one of them only.
    """
    values = {
        f"{event.kept_at}:{event.number}:{event.reading.quantity}:{event.reading.value}"
        for _, event in evidence.readings
        if event.reading.quantity in evidence.forms.report.measured.quantities
    }
    return [{"value": hash_of([value])[:12]} for value in sorted(values)] if len(values) >= LEAST_SHARED else []


def _stops(evidence: Evidence) -> list[Row]:
    """Return each stop and each value that was refused, in words."""
    stops = [
        {"kind": "stopped", "why": stop.why.split(" (")[0], "gate": stop.gate, "resumed": stop.resumed}
        for stop in evidence.ending.stops
    ]
    titles, gate, refused = evidence.recorded.titles, "", []
    for step in evidence.recorded.steps:
        match step.event:
            case ev.GateEntered(gate=entered):
                gate = titles.get(entered, entered)
            case ev.ReadingRefused(reading=reading):
                named = f"{wording.quantity(reading.quantity)} not taken"
                refused.append({"kind": "refused", "why": named, "gate": gate, "resumed": ""})
            case ev.NotDone(gate=undone):
                refused.append(
                    {"kind": "not done", "why": "left out", "gate": titles.get(undone, undone), "resumed": ""}
                )
            case _:
                pass
    return [*stops, *refused]


def readings(evidence: Evidence) -> list[Row]:
    """Return what was found and left at each measurement point, with what the trade derives from it."""
    rows = []
    own = OWN_RULES.get(evidence.recorded.trade)
    silent = {
        asked.quantity
        for asked in evidence.forms.report.across
        if asked.leave_out and str(evidence.sheet(asked.leave_out.sheet)) == asked.leave_out.is_
    }
    for pair in evidence.pairs:
        for when, group in (("found", pair.found), ("left", pair.left)):
            if group is None:
                continue
            taken = set_of(group)
            numbers = {name: float(value) for name, value in taken.values.items()}
            derived = own.derived(evidence, taken) if own else {}
            numbers |= {name: value for name, value in derived.items() if name not in silent}
            for calculation, verdict in group.verdicts.items():
                value = value_given(verdict)
                if value is not None and calculation in computed(evidence):
                    numbers[calculation] = float(value)
            rows += [_reading(pair.point, when, name, value) for name, value in numbers.items()]
    return rows


def computed(evidence: Evidence) -> set[str]:
    """Return the calculations whose values the trade tells like readings."""
    return {each.calculation for each in evidence.forms.report.measured.computed}


def _reading(rate: str, when: str, quantity: str, value: float) -> Row:
    return {"rate": rate, "at_time": when, "quantity": quantity, "value": round(value, 4)}


def _gates(evidence: Evidence) -> list[Row]:
    return [{"gate": span.gate, "title": span.title, "seconds": round(span.seconds, 1)} for span in evidence.gates]


def _misheard(recorded: Recorded) -> list[Row]:
    rows: list[Row] = []
    heard = ""
    for step in recorded.steps:
        match step.event:
            case inp.Heard(alternatives=alternatives):
                heard = " ".join(alternatives[0].text) if alternatives else ""
            case ev.NotUnderstood(why=why):
                rows.append({"heard": heard, "meant": "", "why": why})
            case ev.ReadingCorrected(was=was, now=now):
                rows.append({"heard": was.value, "meant": now.value, "why": f"{was.quantity} corrected"})
            case _:
                pass
    return rows
