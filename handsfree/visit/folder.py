"""What a visit's folder holds beside the ledger: the procedure and the sheets as run, enough to run them again."""

from __future__ import annotations

import hashlib
from pathlib import Path

from handsfree.documents import Document
from handsfree.ledger.visit import is_plain_name
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan

JOB_SHEET = "jobsheet.yaml"
SOURCES = "sources"


def load_plan(procedure: Path, job_sheet: Path) -> tuple[Plan, dict[str, bytes]]:
    """Read a procedure and its sheets; return the plan and the files as they are kept with the visit.

    Raises Problem with file:line at the first fault, and when two of the files share a name.
    """
    loaded = load_procedure(procedure)
    sheets, (job, appliance) = load_sheets(job_sheet)
    plan = Plan(loaded, sheets).check()
    kept: dict[str, bytes] = {}
    named = [(Path(document.file).name, document) for document in loaded.documents]
    named += [(JOB_SHEET, job), (Path(appliance.file).name, appliance)]
    for name, document in named:
        _keep(kept, name, document)
    return plan, kept


def _keep(kept: dict[str, bytes], name: str, document: Document) -> None:
    data = document.text.encode()
    if kept.setdefault(name, data) != data:
        raise Problem(f"two files of this visit are called {name!r}", where=document.file, remedy="rename one")


def plan_of(folder: Path, procedure: str) -> Plan:
    """Return the plan that a recorded visit ran on, from the files kept in its folder.

    Raises Problem as `load_plan` does, and when the record's name of the procedure leads out of its folder.
    """
    if not is_plain_name(procedure) or procedure.startswith("."):
        raise Problem("the record names a procedure that is no plain name", where=procedure[:80])
    plan, _ = load_plan(folder / SOURCES / f"{procedure}.yaml", folder / SOURCES / JOB_SHEET)
    return plan


def digests(kept: dict[str, bytes], plan: Plan) -> dict[str, str]:
    """Return the SHA-256 of the two sheets by name."""
    names = (JOB_SHEET, plan.sheets.job.appliance)
    return {name: hashlib.sha256(kept[name]).hexdigest() for name in names}
