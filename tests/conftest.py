"""What all tests share: one profile for invented examples, the two stages, a state folder, and what a skip needs.

`slow("why")` puts a test into the second stage (`bash .ci/test --all`). `real_time` is for a test whose outcome
hangs on when things happen: fails it while the machine is measured to be too slow (tests/lag.py), it is skipped
with what was measured; on a machine that kept up it fails as any other. What no machine excuses, such as a record
that does not verify, is told by `pytest.fail`, which is never made a skip. No skip passes in CI whose reason is
not listed in `skips.txt`.
"""

from __future__ import annotations

import gc
import hashlib
import os
import pickle
import shutil
import signal
import tempfile
import time
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import hypothesis
import pytest
from filelock import FileLock

from handsfree import documents
from handsfree.problem import Problem
from tests.lag import REASON, Timekeeper

_ROOT = Path(__file__).resolve().parents[1]
_SHIPPED = {
    hashlib.sha256(file.read_bytes()).digest()
    for folder in ("procedures", "handsfree")
    for file in (_ROOT / folder).rglob("*.yaml")
}
_LISTED = Path(__file__).with_name("skips.txt")
_SKIPPED: list[tuple[str, str]] = []
_LONGEST_FIRST = (
    "live", "browser", "speaking", "hearing", "glance", "commands", "crash", "desk",
    "gates", "session", "procedure", "visit",
)  # fmt: skip
"""The folders whose files last longest, so that none is left over for one worker at the end."""
_TIME = Timekeeper()
_MEASURED: set[Path] = set()
"""The files with tests in real time."""
_BEGUN: dict[tuple[Path, str], float] = {}
"""When the first test of such a file and set of parameters began, in seconds of the steady clock."""

hypothesis.settings.register_profile(
    "handsfree",
    deadline=None,  # how long an example takes says how busy the machine is
    derandomize=True,  # the same examples each time: a test that fails does so because of a change
    database=None,
    print_blob=True,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],  # a deadline too
)
hypothesis.settings.load_profile("handsfree")
_MOST_EXAMPLES = 40
"""How many a test gets in the fast stage alone (`-m "not slow"`); with the second it gets all that it asks for."""


def pytest_configure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput"):
        os.environ[_SHARED] = tempfile.mkdtemp(prefix="handsfree-tests-")
    # Else the same few files are parsed hundreds of times, half a second for a procedure and its includes.
    documents.parse_document = _parsed_once
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:  # as a shell starts what runs in the background
        signal.signal(signal.SIGINT, signal.default_int_handler)  # or the programs under test would inherit it
    config.addinivalue_line("markers", "slow(why): for the second stage; `bash .ci/test --all` runs it too")
    config.addinivalue_line(
        "markers",
        "real_time(of_file): skipped when it fails on a machine measured to be too slow; `of_file=True`"
        " measures from the first test of its file with these parameters, for what a fixture did",
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Begin with what takes longest, so that the rest is done beside it."""
    for item in items:
        for mark in item.iter_markers("slow"):
            if len(mark.args) != 1:
                raise pytest.UsageError(f"{item.nodeid}: slow needs its reason")
    if config.option.markexpr == "not slow":
        for item in items:
            _shorten(getattr(item, "obj", None))
    _MEASURED.update(item.path for item in items if item.get_closest_marker("real_time"))
    items.sort(key=_turn)


def _shorten(test: object) -> None:
    """Give a test on invented examples fewer of them than it asks for."""
    given = "_hypothesis_internal_use_settings"  # Hypothesis has no public way to change them afterwards
    asked: hypothesis.settings | None = getattr(test, given, None)
    if asked is not None and asked.max_examples > _MOST_EXAMPLES:
        function = getattr(test, "__func__", test)
        setattr(function, given, hypothesis.settings(asked, max_examples=_MOST_EXAMPLES))


def _turn(item: pytest.Item) -> int:
    folder = item.path.parent.name
    return _LONGEST_FIRST.index(folder) if folder in _LONGEST_FIRST else len(_LONGEST_FIRST)


def pytest_collection(session: pytest.Session) -> None:
    """Nothing that is collected goes away again: looking for garbage among it takes a third of the time."""
    gc.disable()


def pytest_collection_finish(session: pytest.Session) -> None:
    gc.enable()
    gc.collect()
    gc.freeze()


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Iterator[pytest.CollectReport]:
    """Let one worker of a run compile a file of tests, and the others read what it wrote."""
    if not isinstance(collector, pytest.Module) or not hasattr(collector.config, "workerinput"):
        return (yield)
    with FileLock(Path(os.environ[_SHARED]) / f"{hashlib.sha256(collector.nodeid.encode()).hexdigest()}.lock"):
        return (yield)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> Iterator[None]:
    if item.path in _MEASURED:
        _TIME.start()
        now = time.monotonic()
        begun = _BEGUN.setdefault((item.path, getattr(getattr(item, "callspec", None), "id", "")), now)
        mark = item.get_closest_marker("real_time")
        if mark is not None:
            item.stash[_SINCE] = begun if mark.kwargs.get("of_file") else now
    return (yield)


_SINCE = pytest.StashKey[float]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[None]:
    """Tell a machine that was too slow from a program that is wrong."""
    report: pytest.TestReport = yield
    if call.excinfo is not None and report.failed and _SINCE in item.stash:
        lag = _TIME.since(item.stash[_SINCE])
        report.sections.append(("lag of the machine", str(lag)))
        if lag.too_slow and not call.excinfo.errisinstance(pytest.fail.Exception):
            why = f"{REASON}: {lag}; {call.excinfo.exconly().splitlines()[0]}"
            report.outcome = "skipped"
            report.longrepr = (str(item.path), item.location[1] or 0, f"Skipped: {why}")
    return report


_PARSE = documents.parse_document
_SHARED = "HANDSFREE_TESTS_SHARED"
"""Names the folder in which the workers of a run keep for one another what they have parsed or recorded."""


@lru_cache(maxsize=256)
def _parsed(text: str) -> bytes:
    """Return the content and the places of a text, pickled; of a shipped one for each worker that comes later."""
    digest = hashlib.sha256(text.encode())
    if digest.digest() not in _SHIPPED:
        return _pickled(text)
    kept = Path(os.environ[_SHARED]) / digest.hexdigest()
    with FileLock(kept.with_suffix(".lock")):
        if not kept.exists():
            kept.write_bytes(_pickled(text))
        return kept.read_bytes()


def _pickled(text: str) -> bytes:
    one = _PARSE(text, "")
    return pickle.dumps((one.content, one.places, one.keys))


def _parsed_once(text: str, file: str) -> documents.Document:
    """Return the document of a text that was parsed before, as its own copy, under the name of its file."""
    try:
        content, *places = pickle.loads(_parsed(text))
    except Problem:
        return _PARSE(text, file)  # its fault, under the name of its file
    return documents.Document(file, text, content, *(_of_file(found, file) for found in places))


def _of_file(places: dict[documents.Path_, documents.Place], file: str) -> dict[documents.Path_, documents.Place]:
    return {path: documents.Place(file, at.line, at.column) for path, at in places.items()}


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
    _TIME.stop()
    if hasattr(session.config, "workerinput"):
        return
    shutil.rmtree(os.environ[_SHARED], ignore_errors=True)
    if os.environ.get("CI") == "true" and _unlisted():
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for node, why in _SKIPPED:
        if why.startswith(REASON):
            terminalreporter.write_line(f"not judged: {node}: {why}", yellow=True)
    for node, why in _unlisted():
        terminalreporter.write_line(f"skipped without being listed in tests/skips.txt: {node}: {why}", red=True)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    if report.skipped:
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        _SKIPPED.append((report.nodeid, reason.removeprefix("Skipped: ")))


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """The address of a real server, with a blank for the database's name; started once, where it is asked for."""
    from handsfree.company.own_database import server_programs  # noqa: PLC0415 - most tests want none
    from tests.postgresql_server import NOT_FOUND, server  # noqa: PLC0415

    if server_programs() is None and not os.environ.get("CI"):
        pytest.skip(NOT_FOUND)
    with server() as running:
        yield running.address
