"""Run tests on one mutant from a cold start.

    python -m tests.bench.mutation.cold PART OPERATOR OCCURRENCE SECONDS

The names of the tests come on the standard input; the answer is `not`, or `by` and the test that noticed.
"""

from __future__ import annotations

import resource
import sys

import pytest

from tests.bench.mutation.mutants import Mutant
from tests.bench.mutation.planting import Planted
from tests.bench.mutation.targets import ROOT
from tests.bench.mutation.trial import QUIET, prepare_hypothesis


class _First:
    """Remembers the first test that fails."""

    name = ""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.name:
            self.name = report.nodeid


def main(part: str, operator: str, occurrence: str, seconds: str) -> None:
    """Plant the mutant, run the tests, print the answer."""
    limit = int(float(seconds))
    resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
    mutant = Mutant(part, operator, int(occurrence), 0, 0)
    sys.meta_path.insert(0, Planted(mutant.target, mutant.source))  # type: ignore[arg-type]
    prepare_hypothesis()
    first = _First()
    names = sys.stdin.read().splitlines()
    code = pytest.main([*QUIET, "-x", f"--rootdir={ROOT}", *names], plugins=[first])
    print("answer: not" if code == pytest.ExitCode.OK else f"answer: by {first.name or 'the import of the tests'}")


if __name__ == "__main__":
    main(*sys.argv[1:])
