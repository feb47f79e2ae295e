"""What all tests share: a state folder of their own, and no skip in CI that is not listed in `skips.txt`."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

_LISTED = Path(__file__).with_name("skips.txt")
_SKIPPED: list[tuple[str, str]] = []


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", 'endurance: takes ten real minutes; leave it out with -m "not endurance"')


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest, so that the rest is done beside it."""
    items.sort(key=lambda item: item.get_closest_marker("endurance") is None)


@pytest.fixture(autouse=True)
def _own_state(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of shared recordings beside the checkout; tests that need it skip without."""
    folder = Path(__file__).resolve().parents[2] / "shared"
    if not folder.is_dir():
        pytest.skip("no ../shared: the recordings and data of the team are not here")
    return folder


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        _SKIPPED.append((report.nodeid, reason.removeprefix("Skipped: ")))


def _unlisted() -> list[tuple[str, str]]:
    listed = [line for line in _LISTED.read_text("utf-8").splitlines() if line and not line.startswith("#")]
    return [(node, why) for node, why in _SKIPPED if not any(why.startswith(entry) for entry in listed)]


def pytest_sessionfinish(session: pytest.Session) -> None:
    if not hasattr(session.config, "workerinput") and os.environ.get("CI") == "true" and _unlisted():
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for node, why in _unlisted():
        terminalreporter.write_line(f"skipped without being listed in tests/skips.txt: {node}: {why}", red=True)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    if report.skipped:
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        _SKIPPED.append((report.nodeid, reason.removeprefix("Skipped: ")))
