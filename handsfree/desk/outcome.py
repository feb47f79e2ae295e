"""The outcome of a visit in a sentence, and what deserves a supervisor's eye before all else."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence
from handsfree.desk.lines import TranscriptLine
from handsfree.desk.rules_done import warning_due
from handsfree.events import decisions as ev
from handsfree.ledger import RecordVerdict


def sentence(evidence: Evidence) -> str:
    """Return how the visit ended and what that rests on, in a sentence; it never says that anything is safe."""
    if evidence.recorded.damage:
        last = wording.clock(evidence.recorded.steps[-1].at)
        return f"The record is damaged and can be read up to {last} only: nothing can be concluded from it."
    if evidence.report is not None and evidence.report.verdict == RecordVerdict.BROKEN:
        return f"The record does not verify. It tells: {_ended(evidence)}"
    return f"{_unproven(evidence)}{_ended(evidence)}"


def _unproven(evidence: Evidence) -> str:
    return "Led by a procedure that is not proven. " if evidence.recorded.opened.unproven else ""


def _ended(evidence: Evidence) -> str:
    closed = evidence.recorded.closed
    if closed is None:
        return "This visit is not closed: it is going on, or was interrupted."
    if closed.outcome not in {"finished", "incomplete"}:
        stops = evidence.recorded.all(ev.Stopped)
        why = stops[-1][1].why if stops else "no reason on record"
        left = [span for span in evidence.alterations if span.until is None]
        things = wording.listed([f"{span.said.lower()} {span.state}" for span in left])
        how = {"stopped": "Stopped", "made-safe": "Stopped, and left off", "left-as-reported": "Left as reported"}
        end = f"Still altered: {things}." if left else "Nothing was left altered."
        return f"{how.get(closed.outcome, 'Stopped')}: {why}. {end}"
    due = warning_due(evidence)
    turns = len(evidence.turns)
    work = f" after {turns} turn{'s' if turns > 1 else ''} of an adjuster" if turns else ""
    if evidence.forms.report.adjusters and not turns:
        work = " with nothing turned"
    end = f"a warning is due: {due[0]}" if due else "no verdict that stands at the end is outside"
    if closed.outcome == "incomplete":
        return f"Left incomplete{work}: {wording.lacking(closed)}; {end}."
    return f"Finished{work}; {end}."


@dataclass(frozen=True)
class Notable:
    """One thing to look at first: what kind, what it says, and the entry that shows it."""

    kind: str
    says: str
    seq: int
    at: int


def notables(evidence: Evidence, talk: list[TranscriptLine]) -> list[Notable]:
    """Return deviations, things not done, make-safe and moments heard with doubt, gravest kind first."""
    found: list[Notable] = []
    recorded = evidence.recorded
    found += [
        Notable("Called misheard", "the person says that a stop was misheard", step.seq, step.at)
        for step, back in recorded.all(ev.ReEntered)
        if back.how == "misheard"
    ]
    found += [
        Notable("Make-safe", f"{stop.why}. {stop.detail}".strip(), step.seq, step.at)
        for step, stop in recorded.all(ev.Stopped)
    ]
    if recorded.closed is not None and recorded.closed.outcome == "incomplete":
        last = recorded.steps[-1]
        found += [
            Notable("Left incomplete", f"{one.what}: {one.why}", last.seq, last.at)
            for one in recorded.closed.lacking
        ]
    for span in evidence.alterations:
        if span.until is None:
            found.append(Notable("Left altered", f"{span.said} {span.state}", span.began_seq, span.began))
    for step, event in evidence.not_done:
        reason = event.reason or "the reason is in the sound"
        found.append(Notable("Not done", f"{recorded.gate_title(event.gate)}: {reason}", step.seq, step.at))
    for step, verdict in evidence.verdicts:
        if verdict.outcome != "within" or not verdict.demonstrated:
            words = wording.outcome(verdict.outcome, demonstrated=verdict.demonstrated)
            title = recorded.gate_title(verdict.gate)
            told = f"{title}: {verdict.sentence}"
            told = told if words.removeprefix("within, ") in told else f"{told} ({words})"
            found.append(Notable("Deviation", told, step.seq, step.at))
    for step, corrected in recorded.all(ev.ReadingCorrected):
        words = f"{wording.value(corrected.was)} became {wording.value(corrected.now)}"
        name = wording.quantity(corrected.was.quantity)
        found.append(Notable("Corrected", f"{name}: {words}", step.seq, step.at))
    for line in talk:
        if "unsure" in line.flags:
            why = next((note for note in line.notes if "doubt" in note or "not understood" in note), "")
            words = f"“{line.text}” at {line.confidence or 'no confidence'}"
            found.append(Notable("Heard with doubt", f"{words}{'; ' + why if why else ''}", line.seq, line.at))
    return found
