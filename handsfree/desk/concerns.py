"""What of a visit still needs a supervisor, gravest first: computed once for the list, the page, the terminal.

The weights order attention and decide nothing: common practice, no source. What was put right within the visit is
no concern: a deviation in whose place a later verdict stands, a corrected value, a stop that was walked back from.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from handsfree.desk import ending_words, wording
from handsfree.desk.approval import fault_of_approval
from handsfree.desk.carried_in import change_told
from handsfree.desk.evidence import AssessedAs, Evidence
from handsfree.desk.rules_order import wrong_conditions
from handsfree.desk.supervision import JudgedLine
from handsfree.desk.witness import differing, differs
from handsfree.events import decisions as ev
from handsfree.ledger import RecordVerdict
from handsfree.rehearing.findings import TOLD, FindingKind
from handsfree.store.kept import COPIED, Concern

BROKEN, ALTERED, STOP_MISSED, LIMIT, HEARD_OTHERWISE, MISHEARD = 100, 90, 82, 80, 72, 70
NO_SPEECH, OUTSIDE, STOPPED, INCOMPLETE, OPEN = 68, 66, 64, 60, 56
NOT_DONE, CONDITIONS, FAILED, UNKNOWN, REDUCED, UNPROVEN, DEMO, DRIFTED, CLOSE = 50, 48, 45, 40, 39, 38, 37, 30, 20
DIFFERS = 44
"""A value that an instrument did not show: it may have read another place, so that it answers no question."""
EXAMPLE = 10
GRAVE = 45
"""From this weight on a concern answers its question with no."""

_OF_SOUND: dict[FindingKind, int] = {
    "stop missed": STOP_MISSED,
    "otherwise": HEARD_OTHERWISE,
    "not heard": HEARD_OTHERWISE,
    "silence": NO_SPEECH,
    "tone": NO_SPEECH,
    "own voice": NO_SPEECH,
    "used again": NO_SPEECH,
}

_TOLD_OTHERWISE = frozenset({"put-back", "seal", "notice", "during", "not-done", "not-copied"})
"""Rules whose fail is told by a concern of its own."""


def concerns_of(evidence: Evidence, judged: Sequence[JudgedLine]) -> tuple[Concern, ...]:
    """Return what is unresolved, but for what only other visits can show."""
    found = [
        *_of_the_record(evidence),
        *_of_the_end(evidence),
        *_of_stops(evidence),
        *_of_the_sound(evidence),
        *_of_the_instrument(evidence),
        *_of_verdicts(evidence),
        *_of_last_time(evidence),
        *(
            Concern("Other conditions", one.why, CONDITIONS, "order", one.seq)
            for one in wrong_conditions(evidence)
        ),
    ]
    told = {concern.seq for concern in found if concern.seq is not None}
    otherwise = _TOLD_OTHERWISE | ({"settings-back"} if evidence.ending.left else frozenset())
    for item in (item for line in judged for item in line.items):
        finding = item.finding
        if finding.result == AssessedAs.FAIL and item.rule not in otherwise and finding.seq not in told:
            found.append(Concern("Check failed", f"{item.says}: {finding.why}", FAILED, item.about, finding.seq))
    return in_order(found)


def in_order(concerns: Sequence[Concern]) -> tuple[Concern, ...]:
    """Return concerns gravest first, those of one weight in the order of their entries."""
    return tuple(sorted(concerns, key=lambda one: (-one.weight, one.seq if one.seq is not None else 0)))


def copied(alike: Sequence[str]) -> tuple[Concern, ...]:
    """Return the concern that other visits have the same values but for a few; none where none have."""
    if not alike:
        return ()
    return (Concern("Values copied", f"the same values as in {wording.listed(list(alike)[:3])}", COPIED, "trust"),)


def _of_the_record(evidence: Evidence) -> Iterator[Concern]:
    report = evidence.report
    if report is not None and report.verdict == RecordVerdict.BROKEN:
        yield Concern("Record broken", report.sentence, BROKEN, "trust", report.first_bad)
    elif evidence.recorded.damage:
        yield Concern("Record damaged", evidence.recorded.damage, BROKEN, "trust")
    if report is not None and report.anchor is not None and not report.anchor.holds:
        yield Concern("Unknown device", report.anchor.says, UNKNOWN, "trust", 0)
    if report is not None and report.reduced:
        says = wording.listed(list(report.reduced[:3]))
        says += f"; and {len(report.reduced) - 3} more" if len(report.reduced) > 3 else ""
        yield Concern("Sound left out", says, REDUCED, "trust")
    if report is not None and report.demo:
        yield Concern("Demo", "an invented visit under a throw-away key", DEMO, "trust", 0)
    standing = evidence.recorded.opened.standing
    if standing is not None and standing.status != "approved":
        weight = UNPROVEN if standing.status == "draft" else EXAMPLE
        yield Concern("Procedure not approved", wording.standing_told(standing), weight, "trust", 0)
    if fault := fault_of_approval(evidence):
        yield Concern("Approval does not hold", fault, UNKNOWN, "trust", 0)
    if unproven := evidence.recorded.opened.unproven:
        says = f"these proofs of the procedure fail: {', '.join(unproven)}"
        yield Concern("Procedure not proven", says, UNPROVEN, "trust", 0)


def _of_last_time(evidence: Evidence) -> Iterator[Concern]:
    """Yield each value that lay unusually far from what the visit before left; taken anew, the last counts."""
    last = {told.kept_at: (step.seq, told) for step, told in evidence.recorded.all(ev.LastTimeTold)}
    for seq, told in last.values():
        for one in told.compared:
            if one.unusual:
                yield Concern("Unusual drift", change_told(one), DRIFTED, "right", seq)


def _of_the_sound(evidence: Evidence) -> Iterator[Concern]:
    """Yield a concern for each kind of finding, whose page lists them, but one for each stop that was missed.

    Each of those is a hazard by itself: what is said of one closes no other.
    """
    if evidence.heard_again is None:
        return
    demo = evidence.report is not None and evidence.report.demo
    for kind, weight in _OF_SOUND.items():
        found = evidence.heard_again.of_kind(kind)
        for first in found if kind == "stop missed" else found[:1]:
            more = f"; and {len(found) - 1} more" if len(found) > 1 and kind != "stop missed" else ""
            says = f"{first.says}, at {wording.clock(first.at)}{more}"
            # A demo's voice is a machine's, which says a word each time alike.
            graded = CLOSE if demo and kind == "used again" else weight
            yield Concern(TOLD[kind], says, graded, "trust", first.seq)


def _of_the_instrument(evidence: Evidence) -> Iterator[Concern]:
    """Yield a concern for each quantity at a gate whose called value differs from what the instrument showed."""
    found = {(one.gate, one.shown.quantity): (step, one) for step, one in differing(evidence)}
    for step, one in found.values():
        yield Concern("Differs from the instrument", differs(one), DIFFERS, "trust", step.seq)


def _of_the_end(evidence: Evidence) -> Iterator[Concern]:
    ending, last = evidence.ending, evidence.recorded.steps[-1].seq
    weight = ALTERED + min(len(ending.left), 9)
    for span in ending.left:  # a hazard each: what is said of one thing closes no other
        yield Concern("Still altered", f"{span.said} ({span.state})", weight, "back", span.began_seq)
    if ending.kind == "incomplete":
        yield Concern("Incomplete", ending_words.lacking(ending), INCOMPLETE, "right", last)
    if ending.kind == "open":
        yield Concern("Not closed", f"it stands at “{ending.last_gate}”", OPEN, "right", last)
    for one in ending.left_out:
        yield Concern("Not done", f"{one.title}: {one.reason}", NOT_DONE, "right", one.seq)
    for says in ending.without_value:
        yield Concern("No value", says, NOT_DONE, "right")


def _of_stops(evidence: Evidence) -> Iterator[Concern]:
    for stop in evidence.ending.stops:
        where = f"{stop.why}, at “{stop.gate}”"
        if not stop.resumed:
            kind, weight = ("Limit passed", LIMIT) if stop.by_values else ("Stopped", STOPPED)
            yield Concern(kind, where, weight, "right", stop.seq)
        elif stop.taken_back:
            weight = LIMIT + 1 if stop.by_values else MISHEARD
            yield Concern("Cleared by “misheard”", f"{where}; {stop.resumed}", weight, "right", stop.seq)
        elif stop.by_values:
            yield Concern("Limit passed", f"{where}; the work went on: {stop.resumed}", FAILED, "right", stop.seq)


def _of_verdicts(evidence: Evidence) -> Iterator[Concern]:
    for step, verdict in evidence.standing_verdicts:
        if verdict.outcome == "within":
            continue
        title = evidence.recorded.gate_title(verdict.gate)
        words = wording.outcome(verdict.outcome)
        says = f"{title}: {wording.verdict(verdict)}"
        says = says if words in says else f"{says} ({words})"
        if wording.is_bad(verdict.outcome):
            yield Concern("Outside at the end", says, OUTSIDE, "right", step.seq)
        else:
            yield Concern("Not shown", says, CLOSE, "right", step.seq)
