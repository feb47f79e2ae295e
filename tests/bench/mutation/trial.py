"""Running the tests on mutants: in copies of one warm process, or from a cold start.

All tests are collected and run once on the code as it is, which also shows what each of them reaches and how
long it takes. For a mutant inside a function the process is then copied (fork), the functions get their altered
code, and the tests that reach the altered statement are run until one fails: first those that noticed most so
far, then one case of every test, then the second of every test, and so on. What an earlier test kept for others
(a visit played to each question) was played by the code as it is, so a fault may go unnoticed here that a whole
run would notice, hardly ever the other way round. A mutant that acts when its module is imported is tried in a
process of its own.
"""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import pytest
from _pytest.runner import runtestprotocol
from hypothesis import Phase, settings

from tests.bench.mutation.mutants import Mutant, text_of
from tests.bench.mutation.planting import noting, swap
from tests.bench.mutation.targets import ROOT, TARGETS

QUIET = ("-p", "no:randomly", "-p", "no:cacheprovider", "-p", "no:terminal", "-p", "no:warnings")
MOST_MEMORY = 6 << 30
"""Bytes that the tests of a mutant may take."""


@dataclass
class Reached:
    """What one test reached of the targets (part and line of a statement), and its seconds of processor time."""

    seconds: float = 0.0
    places: set[tuple[str, int]] = field(default_factory=set)


@dataclass
class Trials:
    """A plugin of pytest which takes the place of the loop over the tests."""

    parts: Sequence[str]
    mutants: Sequence[Mutant]
    told: Callable[[Mutant, str], None]
    """Called for each mutant with the test that noticed it, or an empty text."""
    most_seconds: float
    jobs: int
    reached: dict[str, Reached] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)
    _items: dict[str, pytest.Item] = field(default_factory=dict)
    _noticed: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self._measure(session.items)
        if not self.failed:
            self._try_all()
        return True

    def _measure(self, items: Sequence[pytest.Item]) -> None:
        """Run every test on the code as it is."""
        now = Reached()
        for part in self.parts:
            target = TARGETS[part]
            swap(target, noting(target, text_of(target), lambda line, part=part: now.places.add((part, line))))
        for number, item in enumerate(items, start=1):
            now.places, began = set(), time.process_time()
            if not _passes(item, items[number] if number < len(items) else None):
                self.failed.append(item.nodeid)
            self.reached[item.nodeid] = Reached(time.process_time() - began, now.places)
            self._items[item.nodeid] = item
            print(f"{number} of {len(items)} tests run as it is", end="\r", file=sys.stderr, flush=True)
        for part in self.parts:
            swap(TARGETS[part], text_of(TARGETS[part]))

    def _try_all(self) -> None:
        running: dict[int, tuple[Mutant, list[str], int]] = {}
        waiting = list(self.mutants)
        while waiting or running:
            while waiting and len(running) < self.jobs:
                mutant = waiting.pop(0)
                names = self._tests_of(mutant)
                reading, writing = os.pipe()
                child = os.fork()
                if child == 0:
                    os.close(reading)
                    self._try(mutant, names, writing)
                os.close(writing)
                running[child] = mutant, names, reading
            child, _ = os.waitpid(-1, 0)
            mutant, _, reading = running.pop(child)
            with os.fdopen(reading, "rb") as stream:
                answer = stream.read().decode()
            # No answer: it ran past its limits of time or memory, or took the process down.
            noticed = answer.removeprefix("by ") if answer else "its end: it hangs, or fails altogether"
            if answer.startswith("by "):
                self._noticed[noticed] += 1
            self.told(mutant, "" if answer == "not" else noticed)

    def _tests_of(self, mutant: Mutant) -> list[str]:
        """Return the tests that reach a mutant, the likeliest to notice first, as many as there is time for."""
        place = mutant.part, mutant.statement
        if mutant.statement:
            able = [name for name, reached in self.reached.items() if place in reached.places]
        else:
            able = [
                name for name, reached in self.reached.items() if any(p == mutant.part for p, _ in reached.places)
            ]
        able.sort(key=lambda name: self.reached[name].seconds)
        cases: dict[str, int] = defaultdict(int)
        turn = {}
        for name in able:
            test = name.partition("[")[0]
            turn[name] = 0 if self._noticed[name] else 1 + cases[test]
            if mutant.target.is_near(name):
                turn[name] = -1
            cases[test] += 1
        able.sort(key=lambda name: (turn[name], -self._noticed[name]))
        chosen, seconds = [], 0.0
        for name in able:
            seconds += self.reached[name].seconds
            if seconds <= self.most_seconds or mutant.target.is_near(name):
                chosen.append(name)
        return chosen

    def _try(self, mutant: Mutant, names: Sequence[str], writing: int) -> None:
        """Answer through a pipe, in a copy of the process, and end it."""
        null = os.open(os.devnull, os.O_RDWR)
        for stream in (1, 2):
            os.dup2(null, stream)
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
        answer = "not"
        try:
            if mutant.statement:
                swap(mutant.target, mutant.source)
                answer = self._try_warm(names)
            elif names:
                seconds = sum(self.reached[name].seconds for name in names)
                answer = _try_cold(mutant, names, seconds)
        finally:
            os.write(writing, answer.encode())
            os._exit(0)

    def _try_warm(self, names: Sequence[str]) -> str:
        items = [self._items[name] for name in names]
        for place, item in enumerate(items):
            limit = 20 + 10 * self.reached[item.nodeid].seconds
            signal.setitimer(signal.ITIMER_VIRTUAL, limit)  # of processor time; its signal ends the process
            item._initrequest()  # type: ignore[attr-defined]
            if not _passes(item, items[place + 1] if place + 1 < len(items) else None):
                return f"by {item.nodeid}"
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        return "not"


def _passes(item: pytest.Item, following: pytest.Item | None) -> bool:
    item.ihook.pytest_runtest_logstart(nodeid=item.nodeid, location=item.location)
    return not any(report.failed for report in runtestprotocol(item, log=False, nextitem=following))


def _try_cold(mutant: Mutant, names: Sequence[str], seconds: float) -> str:
    """Run tests in a process of its own that imports the altered source."""
    command = [sys.executable, "-m", "tests.bench.mutation.cold", mutant.part, mutant.operator]
    answer = subprocess.run(
        [*command, str(mutant.occurrence), str(120 + 10 * seconds)],
        input="\n".join(names), capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    return answer.stdout.rpartition("answer: ")[2].strip()


def run(
    parts: Sequence[str], mutants: Sequence[Mutant], told: Callable[[Mutant, str], None], **limits: float
) -> list[str]:
    """Try mutants of parts; return the tests that fail on the code as it is, where nothing was tried."""
    prepare_hypothesis()
    trials = Trials(parts, mutants, told, limits["most_seconds"], int(limits["jobs"]))
    tests = dict.fromkeys(test for part in parts for test in TARGETS[part].tests)
    pytest.main([*QUIET, *_absolute(tests)], plugins=[trials])
    return trials.failed if trials.reached else ["none could be collected"]


def prepare_hypothesis() -> None:
    """Draw the same examples every time, without looking for the smallest that fails."""
    settings.register_profile(
        "mutation", database=None, derandomize=True, deadline=None, phases=(Phase.explicit, Phase.generate)
    )
    settings.load_profile("mutation")


def _absolute(tests: Iterable[str]) -> list[str]:
    return [str(ROOT / test) for test in tests]
