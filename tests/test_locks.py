"""The locks: every file that set-up and CI install is named by its hash, and what is asked for is locked.

How pip checks hashes: pip documentation, "Secure installs". The form of requirements and markers: PEP 508.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
PYTHONS = ("3.11.7", "3.12.1", "3.13.0")
IN_TESTS = ("desk", "pictures", "test", "lint")


def locked(name: str) -> dict[Requirement, set[str]]:
    """Return what a lock pins, with the hashes of its files."""
    text = (ROOT / ".ci" / "locks" / f"{name}.txt").read_text("utf-8").replace("\\\n", " ")
    lines = [line.split(" --hash=") for line in text.splitlines() if line and not line.startswith("#")]
    return {Requirement(line[0]): {one.strip() for one in line[1:]} for line in lines}


def pinned(name: str, python: str) -> dict[str, str]:
    """Return the version of each package that a lock installs on Linux with a Python."""
    environment = default_environment() | {
        "python_version": python.rpartition(".")[0],
        "python_full_version": python,
        "sys_platform": "linux",
    }
    found: dict[str, str] = {}
    for one in locked(name):
        if one.marker is None or one.marker.evaluate(environment):
            assert one.name not in found, f"{one.name} is locked twice for Python {python}"
            (version,) = one.specifier
            found[one.name] = version.version
    return found


def normal(name: str) -> str:
    """Return the name as an index knows it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


@pytest.mark.parametrize("name", ["build", "program", "tests"])
def test_each_pin_is_exact_and_has_hashes(name: str) -> None:
    found = locked(name)
    assert len(found) > 5
    for one, hashes in found.items():
        assert [pin.operator for pin in one.specifier] == ["=="], one
        assert hashes, f"{one} has no hash"
        assert all(re.fullmatch("sha256:[0-9a-f]{64}", each) for each in hashes), one


@pytest.mark.parametrize("name", ["build", "program", "tests"])
def test_no_lock_names_where_packages_come_from(name: str) -> None:
    """That is the affair of each machine's settings."""
    text = (ROOT / ".ci" / "locks" / f"{name}.txt").read_text("utf-8")
    assert "://" not in text
    assert not re.search("index|find-links|trusted-host", text)


@pytest.mark.parametrize("python", PYTHONS)
def test_what_the_project_asks_for_is_locked_at_a_version_that_it_allows(python: str) -> None:
    project = PROJECT["project"]
    more = project["optional-dependencies"]
    for name, asked in (
        ("program", [*project["dependencies"], *more["desk"]]),
        ("tests", [*project["dependencies"], *(one for extra in IN_TESTS for one in more[extra])]),
    ):
        found = pinned(name, python)
        for one in map(Requirement, asked):
            assert normal(one.name) in found, f"{one.name} is not locked: run `bash .ci/lock`"
            assert one.specifier.contains(found[normal(one.name)]), f"{one}: run `bash .ci/lock`"


@pytest.mark.parametrize("python", PYTHONS)
def test_the_tests_run_with_what_the_program_runs_with(python: str) -> None:
    assert pinned("program", python).items() <= pinned("tests", python).items()


def test_the_pythons_that_are_claimed_are_those_that_are_locked_for() -> None:
    claimed = [one.rpartition(" ")[2] for one in PROJECT["project"]["classifiers"] if "Python ::" in one]
    assert claimed == [python.rpartition(".")[0] for python in PYTHONS]
