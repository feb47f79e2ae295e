"""What a procedure counts for when a visit is to be led by it: approved by an author, an example, or a draft."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from handsfree.bundles.archive import APPROVAL, Bundle
from handsfree.bundles.statement import LONGEST_STATEMENT, Approval, line_of, read_statement
from handsfree.bundles.taken import TakenBundles
from handsfree.events.decisions import ProcedureStanding, VisitOpened
from handsfree.ledger import Clock
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.procedure import Procedure
from handsfree.regular_files import open_regular
from handsfree.shipped import procedure_path, procedures_folder
from handsfree.visit.folder import SOURCES

KEPT_APPROVAL = f"procedure.{APPROVAL}"
"""How the signed approval is called among the sources of a visit, so that whoever reads it can verify it again."""


@contextmanager
def chosen(name: str, clock: Clock | None = None) -> Iterator[tuple[Path, Bundle | None]]:
    """Give the file of a procedure, and the bundle it is of, for as long as it is read.

    A file that is named is itself meant. Else the bundle that this device has taken is, before what ships with the
    program. Raises Problem when there is none, or the one taken may not be used: then no other takes its place.
    """
    bundle = None if Path(name).is_file() else _taken(name, clock)
    if bundle is None:
        yield procedure_path(name), None
        return
    with bundle.unpacked() as path:
        yield path, bundle


def _taken(name: str, clock: Clock | None) -> Bundle | None:
    if TakenBundles.used_here(name) is None:
        return None
    return TakenBundles.here(clock=clock).led_by(name)


def standing_of(procedure: Procedure, bundle: Bundle | None) -> ProcedureStanding:
    """Return what a procedure counts for, by the bundle it was read from, or else by where its file stands."""
    version = procedure.file.version or ""
    if bundle is not None:
        by = bundle.approval
        return ProcedureStanding(
            status="approved", version=version, by=by.author, key=by.by.key, at=by.at, until=by.valid_until
        )
    ships = Path(procedure.documents[0].file).resolve().parent == procedures_folder().resolve()
    return ProcedureStanding(status="example" if ships else "draft", version=version)


def must_be_approved(procedure: Procedure, bundle: Bundle | None, *, draft: bool = False) -> ProcedureStanding:
    """Return what a procedure counts for; Problem for a draft where that was not asked for."""
    standing = standing_of(procedure, bundle)
    if standing.status == "draft" and not draft:
        raise Problem(
            f"{procedure.name} is a draft: no author has approved it",
            where=procedure.documents[0].file,
            remedy="release it and take the bundle; --draft leads it all the same, and every paper says so",
            code=ExitCode.FAILED,
        )
    return standing


def kept_approval(folder: Path, opened: VisitOpened) -> Approval:
    """Return the approval kept with a visit that tells of one; Problem when it is not there, or does not hold."""
    try:
        with open_regular(folder / SOURCES / KEPT_APPROVAL) as stream:
            approval = read_statement(Approval, stream.read(LONGEST_STATEMENT + 1), KEPT_APPROVAL)
    except OSError as error:
        raise Problem(
            "the approval is not kept with the visit", where=str(folder), code=ExitCode.FAILED
        ) from error
    standing = opened.standing or ProcedureStanding(status="draft", version="")
    told = (opened.procedure, standing.version, opened.procedure_sha256, standing.by, standing.key)
    kept = (approval.procedure, approval.version, approval.procedure_sha256, approval.author, approval.by.key)
    if told != kept or (standing.at, standing.until) != (approval.at, approval.valid_until):
        raise Problem(
            "the approval kept with the visit is of another procedure, or of another author",
            where=str(folder),
            code=ExitCode.FAILED,
        )
    return approval


def fault_today(folder: Path, opened: VisitOpened, clock: Clock | None = None) -> str:
    """Return why nobody would be led today by what a visit was begun with; empty when they would.

    A visit that was begun is gone on with all the same, since what was altered must be put back; it is told first.
    """
    if opened.standing is None or opened.standing.status != "approved":
        return ""
    try:
        return TakenBundles.here(clock=clock).why_not(kept_approval(folder, opened))
    except Problem as problem:
        return problem.what


def kept_with(bundle: Bundle | None) -> dict[str, bytes]:
    """Return what is kept with a visit of the bundle that led it: the signed approval."""
    return {} if bundle is None else {KEPT_APPROVAL: line_of(bundle.approval)}
