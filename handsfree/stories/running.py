"""All stories of files and folders, side by side; what they cover of each procedure, and what no story walks."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path

from handsfree.documents import Document, NoSuchFile, Place, read_document, validate
from handsfree.events import decisions as ev
from handsfree.problem import Problem
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.procedure.ways import ways
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.shipped import example_job_sheet, file_or_shipped
from handsfree.stories.file import StoriesFile, Story
from handsfree.stories.names import unknown_names
from handsfree.stories.paper import missing_on_paper
from handsfree.stories.telling import StoryFault, Telling
from handsfree.visit.folder import load_plan

ENDING = ".tests.yaml"
Way = tuple[str, str]
"""A gate and the outcome by which it is left."""
Row = tuple[str, int]
"""A table of limits and the number of a row in its file, from 0."""


@dataclass(frozen=True)
class StoriesOf:
    """The stories of one file."""

    path: Path
    document: Document
    file: StoriesFile
    procedure: Path


@dataclass(frozen=True)
class StoryResult:
    """What became of one story."""

    path: Path
    story: str
    place: Place
    seconds: float
    fault: str = ""
    """What is not as the story says; empty when all is."""
    entered: frozenset[str] = frozenset()
    walked: frozenset[Way] = frozenset()
    read: frozenset[Row] = frozenset()
    """The rows of tables that some verdict took its limits from."""


@dataclass(frozen=True)
class Covered:
    """What the stories of one file walk together."""

    procedure: Procedure
    stories: StoriesOf
    results: tuple[StoryResult, ...]

    @property
    def ways(self) -> frozenset[Way]:
        """Every way that some visit of the procedure can take."""
        return ways(self.procedure)

    @property
    def entered(self) -> frozenset[str]:
        """The gates that some story enters."""
        return frozenset().union(*(one.entered for one in self.results)) & frozenset(self.procedure.gates)

    @property
    def walked(self) -> frozenset[Way]:
        """The ways that some story walks."""
        return frozenset().union(*(one.walked for one in self.results)) & self.ways

    @property
    def rows(self) -> frozenset[Row]:
        """Every row of a table that some verdict may take its limits from."""
        judging = (placed.gate.effects.judges for placed in self.procedure.gates.values())
        limits = [one.limits for one in judging if one is not None and one.limits is not None]
        return frozenset(
            (one.rows.table, at) for one in limits if one.rows is not None for at, _ in one.each_row()
        )

    @property
    def read(self) -> frozenset[Row]:
        """The rows that some story reads."""
        return frozenset().union(*(one.read for one in self.results)) & self.rows

    @property
    def unread(self) -> tuple[tuple[str, Place], ...]:
        """The rows that no story reads: the name of the table, and where the row stands."""
        tables = self.procedure.tables
        return tuple((name, tables[name].place(("rows", at))) for name, at in sorted(self.rows - self.read))

    @property
    def failed(self) -> tuple[StoryResult, ...]:
        """The stories that are not as they say."""
        return tuple(one for one in self.results if one.fault)

    def too_little(self, gates: int = 0, ways: int = 0) -> tuple[str, ...]:
        """Return where less is covered than the file, or the caller, asks for in percent."""
        least = self.stories.file.coverage
        shares = (
            ("gates", len(self.entered), len(self.procedure.gates), max(least.gates, gates)),
            ("ways", len(self.walked), len(self.ways), max(least.ways, ways)),
        )
        return tuple(
            f"{100 * count // of} % of the {name} are covered, {wanted} % are asked for"
            for name, count, of, wanted in shares
            if 100 * count < wanted * of
        )


def stories_in(paths: Iterable[Path]) -> list[StoriesOf]:
    """Return the stories of files and folders; a procedure's file stands for the stories beside it."""
    found: dict[Path, None] = {}
    for path in map(file_or_shipped, paths):
        if path.is_dir():
            found |= dict.fromkeys(sorted(path.rglob(f"*{ENDING}")))
        elif path.name.endswith(ENDING):
            found[path] = None
        else:
            found[_beside_or_told(path)] = None
    if not found:
        remedy = f"write them beside the procedure, in NAME{ENDING}"
        raise Problem("there are no stories here", where=", ".join(map(str, paths)), remedy=remedy)
    return [read_stories(path) for path in found]


def stories_beside(procedure: Path) -> StoriesOf | None:
    """Return the stories of a procedure's file; None when there are none."""
    path = _beside(procedure)
    return read_stories(path) if path.is_file() else None


def differences(stories: StoriesOf, plans: Callable[[Plan], tuple[Plan, Plan]]) -> Iterator[str]:
    """Yield, as sentences, the stories that go otherwise by the second of two plans than by the first."""
    for number, story in enumerate(stories.file.stories):
        was, now = (told(stories, number, plan) for plan in plans(plan_of_story(stories, story)))
        if (was.fault, was.walked) != (now.fault, now.walked):
            left = sorted(f'{gate} by "{outcome}"' for gate, outcome in was.walked - now.walked)
            how = now.fault or f"it goes as told, but does not leave {', '.join(left) or 'the same gates'}"
            yield f"story goes otherwise: {story.story}: {how}"


def _beside(procedure: Path) -> Path:
    name = f"{procedure.stem}{ENDING}"
    places = (procedure.parent / name, procedure.parent / "tests" / name)
    return next((place for place in places if place.is_file()), places[0])


def _beside_or_told(procedure: Path) -> Path:
    """Return the file of a procedure's stories; Problem that says how to begin one when there is none."""
    path = _beside(procedure)
    if procedure.is_file() and not path.is_file():
        raise Problem(
            f"this procedure has no stories: neither {path} nor {path.parent / 'tests' / path.name} is there",
            where=str(procedure),
            remedy=f"begin with `handsfree template {procedure.stem} --stories --into {path}`",
        )
    if not procedure.is_file():
        raise NoSuchFile("there is no such file or folder", where=str(procedure), remedy="check the name")
    return path


def read_stories(path: Path) -> StoriesOf:
    """Return the stories of a file; Problem with file:line at the first fault."""
    return _read(path, path.stat().st_mtime_ns if path.is_file() else 0)


@lru_cache(maxsize=64)
def _read(path: Path, changed: int) -> StoriesOf:
    """Read a file of stories, anew when it has changed."""
    del changed
    document = read_document(path)
    file = validate(StoriesFile, document)
    return StoriesOf(path, document, file, procedure_of(path, document, file))


def procedure_of(path: Path, document: Document, file: StoriesFile) -> Path:
    """Return the file of the procedure that stories are of; Problem when there is none."""
    name = f"{file.stories_of}.yaml"
    procedure = next((f / name for f in (path.parent, path.parent.parent) if (f / name).is_file()), None)
    if procedure is None:
        where = str(document.place(("stories_of",)))
        raise Problem(f"there is no {name} beside this file, or above it", where=where, remedy="correct the name")
    return procedure


def run_all(files: Sequence[StoriesOf], jobs: int = 1) -> list[Covered]:
    """Run every story of the files, so many at a time."""
    tasks = [(each.path, number) for each in files for number in range(len(each.file.stories))]
    if jobs > 1 and len(tasks) > 1:
        with ProcessPoolExecutor(min(jobs, len(tasks)), mp_context=get_context("spawn")) as pool:
            results = list(pool.map(run_one, *zip(*tasks, strict=True)))
    else:
        results = [run_one(path, number) for path, number in tasks]
    return [
        Covered(load_procedure(each.procedure), each, tuple(one for one in results if one.path == each.path))
        for each in files
    ]


def run_one(path: Path, number: int) -> StoryResult:
    """Run one story of a file, by its number from 0."""
    stories = read_stories(path)
    story = stories.file.stories[number]
    plan = plan_of_story(stories, story)
    result = told(stories, number, plan)
    wrong = next(unknown_names(story, plan.procedure), None)
    if wrong is None or result.fault:
        return result
    return replace(result, place=stories.document.key_place(("stories", number, *wrong[0])), fault=wrong[1])


def told(stories: StoriesOf, number: int, plan: Plan) -> StoryResult:
    """Return what becomes of a story under a plan, whichever that is."""
    story, began = stories.file.stories[number], time.perf_counter()
    day = stories.file.day or datetime.now(UTC).date()
    place = stories.document.key_place(("stories", number, "story"))
    telling = Telling(plan, story, day, lambda *path: stories.document.place(("stories", number, *path)))
    fault = ""
    try:
        telling.tell()
        fault = "; ".join(missing_on_paper(story, plan, telling.visit))
    except StoryFault as error:
        fault, place = error.what, error.place
    except Problem as problem:
        fault = problem.sentence()
    except (AssertionError, LookupError, ArithmeticError, TypeError, ValueError) as error:
        fault = f"the program itself fails at {telling.visit.state.gate}: {type(error).__name__}"
    seconds = time.perf_counter() - began
    covered = (*_covered(telling.visit), frozenset(_read_by(plan, telling.visit)))
    return StoryResult(stories.path, story.story, place, seconds, fault, *covered)


def _covered(visit: Rehearsal) -> tuple[frozenset[str], frozenset[Way]]:
    entered = frozenset(event.gate for event in visit.events if isinstance(event, ev.GateEntered))
    passed = (event for event in visit.events if isinstance(event, ev.GatePassed))
    return entered, frozenset((event.gate, event.outcome) for event in passed)


def _read_by(plan: Plan, visit: Rehearsal) -> Iterator[Row]:
    """Yield the rows that the verdicts of a visit took their limits from."""
    for event in visit.events:
        judges = plan.gate(event.gate).gate.effects.judges if isinstance(event, ev.VerdictGiven) else None
        limits = None if judges is None else judges.limits
        if limits is not None and limits.rows is not None:
            yield from ((limits.rows.table, at) for at in limits.read_on(plan.sheets))


@lru_cache(maxsize=64)
def _plan(procedure: Path, job_sheet: Path | None, language: str | None) -> Plan:
    sheet = job_sheet or load_procedure(procedure).trade.example or example_job_sheet()
    return load_plan(procedure, sheet, language=language)[0]


def plan_of_story(stories: StoriesOf, story: Story) -> Plan:
    """Return the plan that a story runs on: its language, and its job sheet, the file's, or the invented one."""
    return _plan(stories.procedure, job_sheet_of(stories, story), story.language)


def by_another(procedure: Procedure, plan: Plan) -> Plan:
    """Return a plan with another procedure in its place, in the same language where that has it."""
    language = plan.catalogue.language
    led = procedure.in_language(language) if language in procedure.file.translations else procedure
    return Plan(led, plan.sheets).check()


def sheets_of(stories: StoriesOf) -> list[Path]:
    """Return the sheets that stories name, beside their file: each job sheet and the appliance sheet it names."""
    jobs = {job_sheet_of(stories, story) for story in stories.file.stories} - {None}
    trade = load_procedure(stories.procedure).trade
    found = {job: load_sheets(job, trade)[0].job.appliance for job in jobs if job is not None}
    return sorted({*found, *(job.parent / appliance for job, appliance in found.items())})


def job_sheet_of(stories: StoriesOf, story: Story) -> Path | None:
    """Return the job sheet that a story or its file names; None for the trade's invented one."""
    name = story.jobsheet or stories.file.jobsheet
    return None if name is None else stories.path.parent / name
