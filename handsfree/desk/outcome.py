"""The outcome of a visit in a sentence, and what deserves a supervisor's eye before all else."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.desk import ending_words, wording
from handsfree.desk.evidence import Evidence
from handsfree.desk.lines import TranscriptLine
from handsfree.desk.rules_done import warning_due
from handsfree.events import decisions as ev
from handsfree.ledger import RecordVerdict


def sentence(evidence: Evidence) -> str:
    """Return how the visit ended and what that rests on, in a sentence; it never says that anything is safe."""
    ending = evidence.ending
    if ending.kind == "damaged":
        return ending_words.end_sentence(evidence)
    if evidence.report is not None and evidence.report.verdict == RecordVerdict.BROKEN:
        return f"The record does not verify. It tells: {_ended(evidence)}"
    return f"{_unproven(evidence)}{_ended(evidence)}"


def _unproven(evidence: Evidence) -> str:
    opened = evidence.recorded.opened
    is_draft = opened.standing is not None and opened.standing.status == "draft"
    draft = "Led by a draft, which no author approved. " if is_draft else ""
    return draft + ("Led by a procedure that is not proven. " if opened.unproven else "")


def _ended(evidence: Evidence) -> str:
    ending = evidence.ending
    if ending.kind == "open":
        return "This visit is not closed: it is going on, or was interrupted."
    if not ending.came_to_its_end:
        why = ending.in_force[-1].why if ending.in_force else "no reason on record"
        things = wording.listed([f"{span.said.lower()} {span.state}" for span in ending.left])
        end = f"Still altered: {things}." if ending.left else "Nothing was left altered."
        closed = evidence.recorded.closed
        return f"{wording.ended(closed.outcome if closed else 'open')}: {why}. {end}"
    due = warning_due(evidence)
    turns = len(evidence.turns)
    work = f" after {turns} turn{'s' if turns > 1 else ''} of an adjuster" if turns else ""
    if evidence.forms.report.adjusters and not turns:
        work = " with nothing turned"
    end = f"a warning is due: {due[0]}" if due else "no verdict that stands at the end is outside"
    if ending.kind == "incomplete":
        return f"Left incomplete{work}: {wording.lacking(ending.lacking)}; {end}."
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
    recorded, ending = evidence.recorded, evidence.ending
    found += [
        Notable("Called misheard", "the person says that a stop was misheard", step.seq, step.at)
        for step, back in recorded.all(ev.ReEntered)
        if back.how == "misheard"
    ]
    found += [
        Notable("Stopped", f"{stop.why}: {stop.order}".rstrip(": "), stop.seq, stop.at) for stop in ending.stops
    ]
    last = recorded.steps[-1]
    if ending.kind == "incomplete":
        found += [
            Notable("Left incomplete", f"{one.what}: {one.why}", last.seq, last.at) for one in ending.lacking
        ]
    found += [
        Notable("Left altered", f"{span.said} {span.state}", span.began_seq, span.began) for span in ending.left
    ]
    found += [Notable("Not done", f"{one.title}: {one.reason}", one.seq, one.at) for one in ending.left_out]
    for step, verdict in evidence.verdicts:
        if verdict.outcome != "within" or not verdict.demonstrated:
            words = wording.outcome(verdict.outcome, demonstrated=verdict.demonstrated)
            title = recorded.gate_title(verdict.gate)
            told = f"{title}: {wording.verdict(verdict)}"
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
