"""What decides an outcome beside the visit itself: a change of it has visits done again."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from handsfree import __version__
from handsfree.office.verification import known_enrolment, list_digest
from handsfree.session.version import DECISION_VERSION


def conditions_here(enrolment: Path | None) -> Mapping[str, str]:
    """Return the version of the program, of its rules of deciding, and the digest of the enrolment list.

    Raises Problem when the list does not hold.
    """
    known_enrolment(enrolment)
    return {"program": __version__, "decisions": DECISION_VERSION, "list": list_digest(enrolment)}
