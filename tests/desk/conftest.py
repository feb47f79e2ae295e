"""Visits recorded once for all tests of the desk, and copies of them to damage."""

import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "ledger" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))

from attacks import remembered_links
from invented_visits import record_visit, recorded_once, tampered_copy
from lists import enrol_devices

from handsfree.desk.index import Index


@pytest.fixture(autouse=True, scope="module")
def _links_checked_once():
    """Each command reads the record of a whole visit three times: every link of it is checked once in a file."""
    with remembered_links():
        yield


@pytest.fixture(scope="session")
def recorded():
    """A folder with one visit that finished (`whole`), one stopped by voice (`stopped`), and a `tampered` copy."""
    return recorded_once() / "visits"


@pytest.fixture(scope="session")
def recorded_short(tmp_path_factory):
    """Two visits stopped and closed after a few gates (`first`, `second`), and a `tampered` copy of the first."""
    root = tmp_path_factory.mktemp("short")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))
        record_visit(root / "first", stop_at="analyser-zeroed")
        record_visit(root / "second", stop_at="permission")
    tampered_copy(root / "first", root / "tampered")
    return root


@pytest.fixture
def short(recorded_short, tmp_path, monkeypatch):
    """A copy of the short visits that a test may write to, with a state and a cache of its own."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    shutil.copytree(recorded_short, tmp_path / "visits")
    enrol_devices(tmp_path / "visits", tmp_path / "state")
    return tmp_path / "visits"


@pytest.fixture
def visits(recorded, tmp_path, monkeypatch):
    """A copy of those visits that a test may write to, with a state and a cache of its own."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    shutil.copytree(recorded, tmp_path / "visits")
    enrol_devices(tmp_path / "visits", tmp_path / "state")
    return tmp_path / "visits"


@pytest.fixture
def index(short):
    """What a desk knows of the short visits."""
    made = Index(short)
    made.scan()
    return made
