"""What was signed on the phone's page: by whom, when, and the strokes as far as they are still here."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence
from handsfree.events import inputs as inp
from handsfree.glance.strokes import Strokes, strokes_in
from handsfree.ledger.personal import names_of


@dataclass(frozen=True)
class DrawnSignature:
    """One signature; without strokes it was erased, or its file is not what was committed to."""

    whose: str
    says: str
    strokes: Strokes


def drawn_signatures(evidence: Evidence) -> list[DrawnSignature]:
    """Return the last signature of each who signed, in the order they first did."""
    files = names_of(evidence.recorded.folder)
    found: dict[str, DrawnSignature] = {}
    for step, event in evidence.recorded.all(inp.SignatureDrawn):
        payload, whose = files.payload(event.signature.commitment), event.signature.whose
        when = f"signed on the phone at {wording.clock(step.at)} of the visit"
        try:
            found[whose] = DrawnSignature(whose, when, strokes_in(payload or b""))
        except (ValueError, RecursionError):
            found[whose] = DrawnSignature(whose, f"{when}; the drawing is no longer here", [])
    return list(found.values())
