"""What a visit's folder holds beside the ledger: the procedure and the sheets as run, enough to run them again."""

from __future__ import annotations

import hashlib
import os
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path

from handsfree.documents import Document, read_document
from handsfree.ledger.visit import is_plain_name
from handsfree.problem import Problem
from handsfree.procedure.older_versions import read_kept_source
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.regular_files import open_regular
from handsfree.session.plan import Plan

JOB_SHEET = "jobsheet.yaml"
SOURCES = "sources"


def load_plan(
    procedure: Path,
    job_sheet: Path,
    read: Callable[[Path], Document] = read_document,
    language: str | None = None,
) -> tuple[Plan, dict[str, bytes]]:
    """Read a procedure and its sheets; return the plan and the files as they are kept with the visit.

    `read` gives the document of a procedure's file. The language is the one given, else the job sheet's, else the
    procedure's own. Raises Problem with file:line at the first fault, and when two
    of the files share a name.
    """
    loaded = load_procedure(procedure, read)
    sheets, (job, appliance) = load_sheets(job_sheet, loaded.trade)
    asked = language or sheets.job.language
    if asked is not None and asked not in (loaded.file.language, *loaded.file.translations):
        known = ", ".join((loaded.file.language, *loaded.file.translations))
        raise Problem(
            f"{loaded.name} is not written in {asked}",
            where=str(job.place(("language",))) if language is None else loaded.documents[0].file,
            remedy=f"choose one of: {known}, or translate it",
        )
    if asked not in {None, loaded.file.language}:
        loaded = loaded.in_language(str(asked))
    plan = Plan(loaded, sheets).check()
    kept: dict[str, bytes] = {}
    named = [*loaded.sources, (JOB_SHEET, job), (Path(appliance.file).name, appliance)]
    for name, document in named:
        _keep(kept, name, document)
    return plan, kept


def _keep(kept: dict[str, bytes], name: str, document: Document) -> None:
    data = document.text.encode()
    if kept.setdefault(name, data) != data:
        raise Problem(f"two files of this visit are called {name!r}", where=document.file, remedy="rename one")


def plan_of(folder: Path, procedure: str, language: str | None = None) -> Plan:
    """Return the plan that a recorded visit ran on, from the files kept in its folder, older ones among them.

    `language` is the one that its record names; the procedure's own where an older record names none.

    Raises Problem as `load_plan` does, and when the record's name of the procedure leads out of its folder.
    """
    if not is_plain_name(procedure) or procedure.startswith("."):
        raise Problem("the record names a procedure that is no plain name", where=procedure[:80])
    sources = folder / SOURCES
    content = (procedure, language, _content(sources))
    if content in _PLANS:
        _PLANS.move_to_end(content)
        return _PLANS[content]
    plan, _ = load_plan(sources / f"{procedure}.yaml", sources / JOB_SHEET, read_kept_source, language)
    if content[2] is not None:
        _PLANS[content] = plan
        while len(_PLANS) > MOST_PLANS:
            _PLANS.popitem(last=False)
    return plan


MOST_PLANS, MOST_SOURCES, LONGEST_SOURCE = 8, 64, 1 << 20
"""Plans that are kept, and how many files, each of how many bytes, are looked at to know one again."""

_PLANS: OrderedDict[tuple[str, str | None, str | None], Plan] = OrderedDict()
"""A plan never changes: the same files give the same one. Reading a long procedure takes most of a second."""


def _content(sources: Path) -> str | None:
    """Return the SHA-256 over all files of a folder, names and contents; None where they are no usual sources."""
    digest = hashlib.sha256()
    try:
        names = sorted(each.name for each in sources.iterdir())
        if len(names) > MOST_SOURCES:
            return None
        for name in names:
            with open_regular(sources / name) as stream:
                data = stream.read(LONGEST_SOURCE + 1)
            if len(data) > LONGEST_SOURCE:
                return None
            digest.update(f"{os.fsencode(name).hex()} {hashlib.sha256(data).hexdigest()}\n".encode())
    except OSError:
        return None
    return digest.hexdigest()


def digests(kept: dict[str, bytes], plan: Plan) -> dict[str, str]:
    """Return the SHA-256 of the two sheets by name."""
    names = (JOB_SHEET, plan.sheets.job.appliance)
    return {name: hashlib.sha256(kept[name]).hexdigest() for name in names}
