"""The photos of a visit as they are shown: what each is of, when it came, and whether it is still here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates.outcomes import NOT_ASKED
from handsfree.ledger.personal import PersonalFiles, names_of
from handsfree.lexicon.catalogue import sentence_case
from handsfree.photo_file import is_kept_form, kept_form
from handsfree.problem import Problem

MOST_SHOWN = 40
"""Of a visit; a record may name as many as it likes."""
MOST_ON_PAPER = 4
"""One row: the papers stay short, and all are with the record."""
_PAPER_SIDE = 560


@dataclass(frozen=True)
class ShownPhoto:
    """One photo; without a commitment it was erased, or its file is not what was committed to."""

    of: str
    says: str
    commitment: str

    def content(self, files: PersonalFiles) -> bytes | None:
        """Return the picture (JPEG) as it lies beside the record; None where it does not."""
        payload = files.payload(self.commitment)
        return payload if payload is not None and is_kept_form(payload) else None


@dataclass(frozen=True)
class PaperPhoto:
    """A photo small enough for a paper, and the words under it."""

    picture: bytes
    says: str


def photos_of(evidence: Evidence) -> list[ShownPhoto]:
    """Return the photos in the order they came."""
    files, found = names_of(evidence.recorded.folder), []
    for step, event in list(evidence.recorded.all(inp.PhotoTaken))[:MOST_SHOWN]:
        of, when = _of(evidence, event.gate), f"at {wording.clock(step.at)} of the visit"
        photo = ShownPhoto(of, when, event.photo.commitment)
        here = photo.content(files) is not None
        found.append(photo if here else ShownPhoto(of, f"{when}; the photo is no longer here", ""))
    return found


def photo_facts(evidence: Evidence) -> Iterator[tuple[str, str]]:
    """Yield, as a fact of the visit, how many photos came of what, and why one that was wanted did not."""
    if evidence.sheet("job.photos") == "none":
        yield "Photos", "None: the job sheet says that no picture is taken here"
    came: dict[str, int] = {}
    for _, event in evidence.recorded.all(inp.PhotoTaken):
        came[event.gate] = came.get(event.gate, 0) + 1
    told = [f"{_of(evidence, gate)}: {count}" for gate, count in came.items()]
    reasons = {event.gate: wording.reason(event.reason) for _, event in evidence.recorded.all(ev.NoPhoto)}
    told += [f"{_of(evidence, gate)}: none, because {why}" for gate, why in reasons.items() if gate not in came]
    told += [f"{_of(evidence, gate)}: none" for gate in _wanted(evidence) if gate not in {*came, *reasons}]
    if told:
        yield "Photos", sentence_case("; ".join(told))


def paper_photos(evidence: Evidence) -> list[PaperPhoto]:
    """Return the last photo of each thing, as many as a row of a paper holds; a damaged one is left out."""
    files, last = names_of(evidence.recorded.folder), {}
    for photo in photos_of(evidence):
        if photo.commitment:
            last[photo.of] = photo
    found = []
    for photo in list(last.values())[:MOST_ON_PAPER]:
        content = photo.content(files)
        try:
            small = kept_form(content or b"", side=_PAPER_SIDE)
        except Problem:
            continue  # the page of the visit says it
        found.append(PaperPhoto(small, sentence_case(f"{photo.of}, {photo.says}")))
    return found


def _wanted(evidence: Evidence) -> list[str]:
    """Return the gates that were come to and want a photo, where photos were wanted at all."""
    plan = evidence.recorded.plan
    if plan is None or not evidence.recorded.opened.photos:
        return []
    asked = {span.gate: None for span in evidence.gates if span.outcome != NOT_ASKED}
    return [gate for gate in asked if gate in plan.procedure.gates and plan.gate(gate).gate.photo]


def _of(evidence: Evidence, gate: str) -> str:
    """Return what a gate's photo is of: its author's words, or else its title."""
    plan = evidence.recorded.plan
    of = plan.gate(gate).gate.photo if plan is not None and gate in plan.procedure.gates else None
    return plan.fill(of) if plan is not None and of else evidence.recorded.gate_title(gate)
