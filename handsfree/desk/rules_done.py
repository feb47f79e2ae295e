"""Rules about what was done, left undone, put back and signed."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.desk import wording
from handsfree.desk.evidence import AssessedAs, Assessment, Evidence, Item, failed, not_asked, passed, unknown
from handsfree.events import decisions as ev
from handsfree.ledger import RecordVerdict


def answered(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether a gate was passed with a good answer."""
    return evidence.answered(item.gates, item.good)


def in_date(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether the calibration that the opening names covers the day of the visit."""
    del item
    until, day = evidence.recorded.opened.calibrated_until, evidence.recorded.opened.day
    if not until:
        return unknown("the job sheet names no calibrated instrument")
    words = f"calibrated until {until}, visit on {day}"
    return passed(words, 0) if day <= until else failed(words, 0)  # both are ISO 8601 dates, which sort as text


def all_answered(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether each of several gates was passed; one left out with its reason is a fail that says so."""
    passed_over = {one.gate for one in evidence.ending.not_asked}
    gates = [gate for gate in evidence.gate_ids(item.gates) if gate not in passed_over]
    if not gates:
        return not_asked("the procedure has no such gates")
    undone = {event.gate: event.reason for _, event in evidence.not_done}
    through = {span.gate: span for span in evidence.gates if span.outcome}
    left = [gate for gate in gates if gate in undone]
    missing = [gate for gate in gates if gate not in through and gate not in undone]
    if left:
        named = [f"{evidence.recorded.gate_title(gate)} ({wording.reason(undone[gate])})" for gate in left]
        return failed(f"not done: {wording.listed(named)}")
    if missing:
        words = f"never reached: {wording.listed([evidence.recorded.gate_title(gate) for gate in missing])}"
        return failed(words) if evidence.finished else unknown(words)
    return passed(f"all {len(gates)} answered", through[gates[-1]].seq)


def present(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether a quantity was read; not done with a reason is a fail that says so, never a zero."""
    return _present(evidence, item.quantities)


def asked(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether every quantity that the procedure asks for was read."""
    del item
    wanted = evidence.recorded.asked
    if not wanted:
        return unknown("the procedure asks for no reading, or cannot be read")
    found = [_present(evidence, (quantity,)) for quantity in wanted]
    for quantity, finding in zip(wanted, found, strict=True):
        if finding.result != AssessedAs.PASS:
            return Assessment(finding.result, f"{wording.quantity(quantity)}: {finding.why}", finding.seq)
    return passed(f"all {len(wanted)} quantities asked for were read", found[-1].seq)


def _present(evidence: Evidence, quantities: Sequence[str]) -> Assessment:
    for quantity in quantities:
        found = evidence.last(quantity)
        if found:
            step, event = found
            return passed(f"{wording.value(event.reading)} at {wording.clock(step.at)}", step.seq)
    named = {wording.quantity(quantity).lower() for quantity in quantities}
    for step, undone in evidence.not_done:
        if named & {evidence.recorded.gate_title(undone.gate).lower()}:
            return failed(f"not done: {wording.reason(undone.reason)}", step.seq)
    if evidence.recorded.plan is not None and not set(quantities) & set(evidence.recorded.read):
        return not_asked("the procedure does not ask for it")
    return failed("no value on record") if evidence.finished else unknown("the visit ended before it")


def not_done(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether each gate passed undone carries its reason, as words or as sound."""
    del item
    if not evidence.not_done:
        return passed("nothing was passed undone")
    bare = [event for _, event in evidence.not_done if not (event.reason or event.sound)]
    if bare:
        titles = [evidence.recorded.gate_title(event.gate) for event in bare]
        return failed(f"no reason for {wording.listed(titles)}")
    return passed(f"{len(evidence.not_done)} passed undone, each with its reason", evidence.not_done[0][0].seq)


def put_back(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether nothing was left altered."""
    del item
    left = [span for span in evidence.alterations if span.until is None]
    if left:
        words = wording.listed([f"{span.said} {span.state}" for span in left])
        return failed(f"still altered: {words}", left[0].began_seq)
    if evidence.recorded.closed is None:
        return unknown("the visit is not closed")
    return passed(f"{len(evidence.alterations)} alterations, each put back")


def settings_back(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether each setting that has a value was put back to the value found."""
    del item
    settings = [span for span in evidence.alterations if span.found]
    if not settings:
        return not_asked("no setting with a value was altered")
    for span in settings:
        if not span.as_found_again:
            left = span.left or "nothing on record"
            return failed(f"{span.said}: found {span.found}, left {left}", span.until_seq or span.began_seq)
    return passed(wording.listed([f"{span.said} {span.left}" for span in settings]), settings[-1].until_seq)


def notice(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether faults were written down; a visit that stopped or ended outside is due a warning notice."""
    due = warning_due(evidence)
    written = answered(evidence, item) if item.gates else passed("no warning is due")
    if not due:
        return written
    return unknown(f"a warning is due ({due[0]}); whether it was handed over is not in the record", written.seq)


def warning_due(evidence: Evidence) -> list[str]:
    """Return why a warning notice is due: a stop or a verdict outside that stands, or a thing altered."""
    why = [f"stopped: {stop.why}" for stop in evidence.ending.in_force]
    if left := [f"{span.said} ({span.state})" for span in evidence.ending.left]:
        why.append(f"not put back: {wording.listed(left)}")
    why += [
        wording.verdict(verdict) for _, verdict in evidence.standing_verdicts if wording.is_bad(verdict.outcome)
    ]
    return why


def edits(evidence: Evidence, item: Item) -> Assessment:
    """Tell how many heard values were changed, and that each change says from what to what."""
    del item
    corrected = evidence.recorded.all(ev.ReadingCorrected)
    voided = evidence.recorded.all(ev.SetVoided)
    if evidence.recorded.damage:
        return unknown("the record is damaged")
    words = f"{len(corrected)} values corrected, {len(voided)} sets set aside, each with what and why"
    return passed(words, corrected[0][0].seq if corrected else None)


def seal(evidence: Evidence, item: Item) -> Assessment:
    """Judge the record itself by what verification found."""
    del item
    report = evidence.report
    if report is None:
        return unknown("not verified yet")
    if report.verdict == RecordVerdict.BROKEN:
        return failed(report.sentence, report.first_bad)
    if report.verdict == RecordVerdict.OPEN:
        return unknown(report.sentence)
    if report.verdict == RecordVerdict.REDUCED:
        return unknown("whole as far as it is there, but some sound was left out")
    if "decisions" not in report.checks:
        return unknown("whole, but its decisions were not decided again")
    other = [remark for remark in report.remarks if remark.startswith("decided again by another version")]
    return unknown(other[0]) if other else passed(report.sentence)


def readable(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether the procedure and the sheets kept with the visit can be read."""
    del item
    if evidence.recorded.plan is None:
        return failed(evidence.recorded.plan_fault or "they cannot be read")
    return passed(f"procedure {evidence.recorded.opened.procedure}", 0)
