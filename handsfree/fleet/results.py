"""The file of results: one JSON line for each visit, by the SHA-256 of its contents.

Work that was cut off goes on from it. A line says what came of a visit (`done`) or of one try (`failed`, with the
reason). Lines are appended and never changed. What a cut left of a line is taken away before the next is written.
A line counts only for the same job, program, rules of deciding and enrolment list: a change of one of them has the
visits done again.
"""

from __future__ import annotations

import json
import os
from collections.abc import Collection, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from filelock import FileLock, Timeout

from handsfree.fleet.jobs import UNREADABLE, JobOutcome
from handsfree.ledger import RecordVerdict
from handsfree.ledger.files import disk_problem
from handsfree.problem import Problem

MOST_TRIES = 2
"""A visit whose work failed so often is set aside."""


@dataclass(frozen=True)
class KeptVerdict:
    """What is remembered of a visit that is done: the verdict on its record and who vouches for its key."""

    verdict: str
    anchor: str
    cpu_s: float

    @property
    def is_bad(self) -> bool:
        """Whether there is no record that holds."""
        return self.verdict in {RecordVerdict.BROKEN, UNREADABLE}


class ResultsFile:
    """The results of one job, kept in one file; one process at a time works on it."""

    def __init__(self, path: Path, conditions: Mapping[str, str]) -> None:
        """Take what the file holds already under the same conditions; raises Problem when it cannot be used."""
        self.path, self._conditions = path, dict(conditions)
        self.done: dict[str, KeptVerdict] = {}
        """The visits that are done, by digest."""
        self.failed: dict[str, list[str]] = {}
        """Why each try failed, of visits whose work failed, by digest."""
        self._lock = FileLock(path.with_name(f".{path.name}.lock"), timeout=0)
        try:
            self._lock.acquire()
        except Timeout as error:
            raise Problem("another run is at work on these results", where=str(path)) from error
        except OSError as error:
            raise disk_problem(error, "opening the results", path) from error
        try:
            with ExitStack() as undone:
                undone.callback(self._lock.release)
                self._file = undone.enter_context(path.open("a+b"))
                self._take()
                undone.pop_all()
        except OSError as error:
            raise disk_problem(error, "opening the results", path) from error

    def _take(self) -> None:
        """Read what is there; cut off what is no whole line."""
        self._file.seek(0)
        whole = 0
        for number, line in enumerate(self._file, start=1):
            if not line.endswith(b"\n"):
                break
            whole += len(line)
            try:
                self._remember(json.loads(line))
            except (ValueError, KeyError, TypeError) as error:
                what, remedy = "this line is no result", "name a new file of results"
                raise Problem(what, where=f"{self.path}:{number}", remedy=remedy) from error
        self._file.truncate(whole)

    def _remember(self, line: Mapping[str, Any]) -> None:
        if line["conditions"] != self._conditions:
            return
        digest = str(line["digest"])
        if line["state"] == "done":
            self.done[digest] = KeptVerdict(str(line["verdict"]), str(line["anchor"]), float(line["cpu_s"]))
        else:
            self.failed.setdefault(digest, []).append(str(line["why"]))

    def keep_outcome(self, name: str, digest: str, outcome: JobOutcome) -> None:
        """Add what came of a visit."""
        self._add({"state": "done", "name": name, "digest": digest, **asdict(outcome)})

    def keep_failure(self, name: str, digest: str, why: str) -> None:
        """Add why a try failed."""
        self._add({"state": "failed", "name": name, "digest": digest, "why": why})

    def _add(self, members: Mapping[str, Any]) -> None:
        line = {**members, "conditions": self._conditions}
        self._file.write(json.dumps(line, ensure_ascii=False).encode("utf-8", "backslashreplace") + b"\n")
        self._remember(line)

    def outcomes(self, digests: Collection[str]) -> Iterator[tuple[str, JobOutcome]]:
        """Yield what came of visits that are done, by digest, as the file has it."""
        names = [each.name for each in fields(JobOutcome)]
        with self.path.open("rb") as lines:
            for line in map(json.loads, lines):
                if (
                    line["state"] == "done"
                    and line["conditions"] == self._conditions
                    and line["digest"] in digests
                ):
                    yield line["digest"], JobOutcome(**{name: line[name] for name in names})

    def settle(self) -> None:
        """Return when all that was added is on the disk; raises Problem when the disk fails."""
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise disk_problem(error, "writing the results", self.path) from error

    def is_set_aside(self, digest: str) -> bool:
        """Say whether the work on a visit failed too often to be tried again."""
        return digest not in self.done and len(self.failed.get(digest, ())) >= MOST_TRIES

    def again(self) -> None:
        """Forget failed tries and what could not be read, so that these visits are tried anew."""
        self.failed.clear()
        self.done = {digest: kept for digest, kept in self.done.items() if kept.verdict != UNREADABLE}

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file and let others at it."""
        self._file.close()
        self._lock.release()
