"""Heavy work over very many visits: verify them, examine them for the desk, hear them again."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from handsfree.fleet.conditions import conditions_here
from handsfree.fleet.driving import FarAlong, Summary, work_through
from handsfree.fleet.jobs import REHEAR, JobOutcome
from handsfree.fleet.results import ResultsFile
from handsfree.fleet.stored_visits import VisitFolders, VisitObjects, VisitSource, source_of
from handsfree.fleet.workers import LONGEST_S, LocalWorkers, Workers
from handsfree.ledger import AnchorState, RecordVerdict
from handsfree.objects.keeping import StoreFailed, keep_visit, restore_visit
from handsfree.objects.opening import object_store_of
from handsfree.problem import ExitCode, Problem, one_line
from handsfree.rehearing.limits import LONGEST_S as REHEARING_S

if TYPE_CHECKING:
    from handsfree.fleet.desk_store import DeskStore

app = typer.Typer(help="Heavy work over very many visits.")
_fleet = typer.Typer(no_args_is_help=True)
app.add_typer(_fleet, name="fleet")

TELL_EVERY_S = 5.0
MOST_NAMED = 20
"""Visits that are named on the screen; all stand in the results."""

_Store = Annotated[str, typer.Argument(help="A folder of visits or of objects, or s3://BUCKET/PREFIX.")]
_Ray = Annotated[
    str | None,
    typer.Option(help="A cluster of Ray by its address (auto, HOST:PORT), or `local` to start one here."),
]
_Workers = Annotated[int, typer.Option(min=1, help="How many visits to work on at a time.")]
_Results = Annotated[
    Path | None, typer.Option(help="The file of results; fleet-JOB.jsonl in this folder when left out.")
]
_Into = Annotated[
    str, typer.Option(help="Also keep it where a desk shows it: `desk`, its own file here, or postgresql://….")
]
_Enrolment = Annotated[
    Path | None, typer.Option(help="The office's enrolment list; this machine's own copy when left out.")
]
_Seconds = Annotated[float, typer.Option("--seconds", min=1, help="The longest that one visit may take.")]
_Again = Annotated[bool, typer.Option("--again", help="Try once more what was set aside or could not be read.")]
_Accept = Annotated[
    bool, typer.Option("--accept-unanchored", help="Do without anybody who vouches for a sealing key.")
]
_CORES = os.cpu_count() or 1


@_fleet.callback()
def fleet() -> None:
    """Work on very many visits: verify, examine, rehear; what was cut off goes on where it was."""


def _command_of(job: str, says: str, longest_s: float = LONGEST_S) -> None:
    """Add the command of a job: all jobs take the same, and end alike."""

    def work(
        store: _Store,
        *,
        ray: _Ray = None,
        workers: _Workers = _CORES,
        results: _Results = None,
        into: _Into = "",
        enrolment: _Enrolment = None,
        seconds: _Seconds = longest_s,
        again: _Again = False,
        accept_unanchored: _Accept = False,
    ) -> None:
        if into and job == "verify":
            raise Problem("the desk's store takes what examine and rehear find", remedy="leave --into out")
        with _workers(job, workers, seconds, ray, enrolment) as hands:
            summary = _done(job, store, hands, results, enrolment, into=into, again=again)
        raise typer.Exit(_code(summary, accept_unanchored=accept_unanchored))

    _fleet.command(job, help=says)(work)


_command_of("verify", "Check that the records of all visits are whole, in order, sealed and decided as recorded.")
_command_of(
    "examine",
    "Verify all visits, and tell all that the desk keeps of each: facts, readings, gates, stops, its page.",
)
_command_of(REHEAR, "Hear the sound of all visits again, and examine each with what was found.", REHEARING_S)


@_fleet.command("keep")
def keep_command(
    visits: Annotated[Path, typer.Argument(help="A folder of visits.")],
    objects: Annotated[str, typer.Argument(help="A folder for the objects, or s3://BUCKET/PREFIX.")],
) -> None:
    """Keep each visit as one object, named by its contents: never written over, and read back."""
    store, source, teller, kept = object_store_of(objects), VisitFolders(visits.resolve()), _Teller(), []
    names, refused = list(source.names()), 0
    for number, name in enumerate(names, start=1):
        try:
            kept.append(keep_visit(visits / name, store))
            typer.echo(one_line(f"{kept[-1].digest} {'already kept' if kept[-1].known else 'kept'} {name}"))
        except StoreFailed:
            raise
        except Problem as problem:
            refused += 1
            typer.echo(one_line(f"not kept: {name}: {problem.what}"))
        teller(FarAlong(len(names), number, 0))
    known = sum(each.known for each in kept)
    typer.echo(f"{len(names):,} visits: {len(kept) - known:,} kept, {known:,} were kept before")
    if refused:
        what = f"{refused:,} visits were not kept"
        raise Problem(what, remedy="look at those named above", code=ExitCode.FAILED)


@_fleet.command("restore")
def restore_command(
    objects: Annotated[str, typer.Argument(help="A folder of objects, or s3://BUCKET/PREFIX.")],
    visits: Annotated[Path, typer.Argument(help="The folder to lay visits into.")],
) -> None:
    """Lay each object out as the folder of its visit, named by its digest; goes on after a cut."""
    source = source_of(objects)
    if not isinstance(source, VisitObjects):
        raise Problem("these are no objects", where=objects, remedy="name what `handsfree fleet keep` filled")
    teller, digests, faults = _Teller(), list(source.names()), 0
    for number, digest in enumerate(digests, start=1):
        try:
            restored = restore_visit(source.store, digest, visits)
            typer.echo(one_line(f"{digest} {'restored as' if restored.new else 'is there as'} {restored.folder}"))
        except StoreFailed:
            raise
        except Problem as problem:
            faults += 1
            typer.echo(one_line(f"not restored: {digest}: {problem.what}"))
        teller(FarAlong(len(digests), number, 0))
    typer.echo(f"{len(digests):,} objects, {faults:,} not restored")
    if faults:
        raise Problem(f"{faults:,} objects do not hold", remedy="look at those above", code=ExitCode.FAILED)


@contextmanager
def _workers(job: str, count: int, seconds: float, ray: str | None, enrolment: Path | None) -> Iterator[Workers]:
    """Give the workers of this machine, or of a cluster, and end them afterwards."""
    if ray is None:
        hands: Workers = LocalWorkers(count, longest_s=seconds)
    else:
        from handsfree.fleet.ray_workers import RayWorkers  # noqa: PLC0415 - the extra `fleet`

        hands = RayWorkers(ray, count, enrolment=enrolment, longest_s=seconds, job=job)
    with closing(hands):
        yield hands


def _done(
    job: str, store: str, hands: Workers, results: Path | None, enrolment: Path | None, *, into: str, again: bool
) -> Summary:
    """Do a job to a store, keep it for the desk where that is wanted, and print what came of it."""
    source, file = source_of(store), results or Path(f"fleet-{job}.jsonl")
    listed = enrolment and enrolment.resolve()
    with ExitStack() as opened:
        desk = opened.enter_context(closing(_desk_store(source, into, listed))) if into else None
        kept = opened.enter_context(ResultsFile(file, {"job": job, **conditions_here(enrolment, job)}))
        if again:
            kept.again()
        before = set(kept.done)
        take = desk.keep if desk else _nothing
        summary = work_through(job, source, hands, kept, enrolment=listed, tell=_Teller(), took=take)
        if desk:
            desk.keep_the_rest(summary.places, kept, before if job == REHEAR else ())
    _print(summary, file)
    return summary


def _nothing(name: str, outcome: JobOutcome) -> None:
    """Keep what was found in the results alone."""


def _desk_store(source: VisitSource, into: str, enrolment: Path | None) -> DeskStore:
    try:
        from handsfree.fleet.desk_store import DeskStore  # noqa: PLC0415 - the extra `desk`
    except ImportError as error:
        raise Problem(f"--into needs {error.name}", remedy="pip install 'handsfree[desk]'") from error
    return DeskStore(source, into, enrolment)


class _Teller:
    """Tells how far the work is: a line every few seconds."""

    def __init__(self) -> None:
        self._console = Console(stderr=True, soft_wrap=True, highlight=False)
        self._begun = self._told = time.monotonic()

    def __call__(self, far: FarAlong) -> None:
        now = time.monotonic()
        if now - self._told < TELL_EVERY_S:
            return
        self._told = now
        a_second = far.done_now / (now - self._begun)
        done = far.done_now + far.done_before
        left = f", about {(far.visits - done) / a_second / 60:.0f} min to go" if a_second else ""
        self._console.print(f"{done:,} of {far.visits:,} visits, {a_second:.1f} a second{left}", markup=False)


def _print(summary: Summary, file: Path) -> None:
    """Print what came of all; names are anybody's, so each line is made one."""
    counted = ", ".join(f"{count:,} {verdict}" for verdict, count in sorted(summary.verdicts.items()))
    before = f"; {summary.done_before:,} were done before" if summary.done_before else ""
    copies = f"; {summary.copies:,} are copies of others" if summary.copies else ""
    typer.echo(f"{summary.visits:,} visits: {counted or 'none done'}{before}{copies}")
    for what, named in (
        ("broken", dict.fromkeys(summary.broken, "")),
        ("set aside", summary.set_aside),
        ("refused", summary.refused),
    ):
        for name, why in list(named.items())[:MOST_NAMED]:
            typer.echo(one_line(f"  {what}: {name}{f' ({why})' if why else ''}"))
        if len(named) > MOST_NAMED:
            typer.echo(f"  {what}: {len(named) - MOST_NAMED:,} more")
    typer.echo(one_line(f"results: {file}"))


def _code(summary: Summary, *, accept_unanchored: bool) -> ExitCode:
    """Return the gravest of: broken or not done, nobody who vouches, left open, reduced, all well."""
    set_aside = len(summary.set_aside) + len(summary.refused)
    if set_aside or summary.broken:
        raise Problem(
            f"visits that do not hold: {len(summary.broken):,}; set aside: {set_aside:,}",
            remedy="look at those named above; --again tries once more what was set aside",
            code=ExitCode.FAILED,
        )
    if not accept_unanchored and any(each.anchor == AnchorState.UNANCHORED for each in summary.done):
        return ExitCode.UNANCHORED
    if summary.verdicts[RecordVerdict.OPEN]:
        return ExitCode.LEFT_OPEN
    return ExitCode.REDUCED if summary.verdicts[RecordVerdict.REDUCED] else ExitCode.DONE
