"""What decides an outcome beside the visit itself: a change of it has visits done again."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from handsfree import __version__
from handsfree.fleet.jobs import REHEAR
from handsfree.office.verification import known_enrolment, list_digest
from handsfree.session.version import DECISION_VERSION


def conditions_here(enrolment: Path | None, job: str = "") -> Mapping[str, str]:
    """Return the version of the program, of its rules of deciding, and the digest of the enrolment list.

    For hearing again also by what it is heard. Raises Problem when the list does not hold.
    """
    known_enrolment(enrolment)
    heard = {}
    if job == REHEAR:
        from handsfree.rehearing.kept import heard_by  # noqa: PLC0415 - reads the recogniser's model

        heard = {"heard by": heard_by()}
    return {"program": __version__, "decisions": DECISION_VERSION, "list": list_digest(enrolment), **heard}
