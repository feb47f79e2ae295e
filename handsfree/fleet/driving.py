"""The driver: hands out the visits of a store, keeps what comes back, tries again, sets aside."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from handsfree.fleet.jobs import Assignment, JobOutcome
from handsfree.fleet.results import KeptVerdict, ResultsFile
from handsfree.fleet.stored_visits import VisitSource
from handsfree.fleet.workers import Finished, Workers
from handsfree.problem import Problem
from handsfree.sandbox import WorkEnded


@dataclass(frozen=True)
class FarAlong:
    """How far the work is: visits in all, done by this run, and done when it began."""

    visits: int
    done_now: int
    done_before: int


@dataclass
class Summary:
    """What came of a store of visits.

    `set_aside` and `refused` are names with the reason: the work failed too often; it holds what no visit holds.
    """

    visits: int = 0
    copies: int = 0
    """Visits whose contents were met before in this store: they are worked on once."""
    done_before: int = 0
    done: list[KeptVerdict] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    places: dict[str, list[str]] = field(default_factory=dict)
    """The names of all visits by the digest of their contents."""
    set_aside: dict[str, str] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)

    @property
    def verdicts(self) -> Counter[str]:
        """How many visits there are of each verdict."""
        return Counter(each.verdict for each in self.done)


@dataclass
class _Driver:
    job: str
    source: VisitSource
    workers: Workers
    results: ResultsFile
    enrolment: Path | None
    tell: Callable[[FarAlong], None]
    took: Callable[[str, JobOutcome], None]
    names: dict[str, str] = field(default_factory=dict)
    """Digest -> the first visit of it."""
    summary: Summary = field(default_factory=Summary)
    later: deque[Assignment] = field(default_factory=deque)
    """What failed once, to be tried again when all others have had their turn."""
    under_way: int = 0
    done_now: int = 0

    def run(self) -> Summary:
        for assignment in self._to_do(list(self.source.names())):
            self.workers.take(assignment)
            self.under_way += 1
            if self.under_way >= self.workers.most_at_once:
                self._collect()
        while self.under_way or self.later:
            while self.later and self.under_way < self.workers.most_at_once:
                self.workers.take(self.later.popleft())
                self.under_way += 1
            self._collect()
        return self._concluded()

    def _to_do(self, names: Sequence[str]) -> Iterator[Assignment]:
        """Yield what is neither done nor set aside, each contents once."""
        self.summary.visits = len(names)
        for name in names:
            try:
                digest = self.source.digest(name)
            except Problem as problem:
                self.summary.refused[name] = problem.what
                continue
            self.summary.places.setdefault(digest, []).append(name)
            if digest in self.names:
                self.summary.copies += 1
                continue
            self.names[digest] = name
            if digest in self.results.done:
                self.summary.done_before += 1
            elif not self.results.is_set_aside(digest):
                yield Assignment(self.job, self.source, name, digest, self.enrolment)

    def _collect(self) -> None:
        """Keep what has come back, at once and durably: a cut loses what is under way and no more."""
        for each in self.workers.finished():
            self.under_way -= 1
            self._keep(each)
        self.results.settle()
        self.tell(FarAlong(self.summary.visits, self.done_now, self.summary.done_before))

    def _keep(self, finished: Finished) -> None:
        assignment, came = finished
        if not isinstance(came, WorkEnded):
            self.results.keep_outcome(assignment.name, assignment.digest, came)
            self.done_now += 1
            self.took(assignment.name, came)
            return
        self.results.keep_failure(assignment.name, assignment.digest, came.what)
        if not self.results.is_set_aside(assignment.digest):
            self.later.append(assignment)

    def _concluded(self) -> Summary:
        for digest, name in self.names.items():
            if digest in self.results.done:
                self.summary.done.append(self.results.done[digest])
                if self.results.done[digest].is_bad:
                    self.summary.broken.append(name)
            else:
                self.summary.set_aside[name] = self.results.failed[digest][-1]
        return self.summary


def work_through(
    job: str,
    source: VisitSource,
    workers: Workers,
    results: ResultsFile,
    *,
    enrolment: Path | None = None,
    tell: Callable[[FarAlong], None] = lambda _: None,
    took: Callable[[str, JobOutcome], None] = lambda *_: None,
) -> Summary:
    """Do a job to every visit of a store that is not done yet, and return what came of all of them.

    `took` is given each visit's name and what came of it now.

    Whatever one visit does, the others are worked on. Stopped at any moment and called again with the same
    results, it repeats at most the visits that were under way. Raises Problem when the store or the results
    cannot be used.
    """
    return _Driver(job, source, workers, results, enrolment, tell, took).run()
