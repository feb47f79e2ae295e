"""Short visits recorded once for the tests of the fleet, and as many different ones as a test asks for."""

import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "desk" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "ledger" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))

from invented_visits import record_visit, tampered_copy
from lists import enrol_devices


@pytest.fixture(scope="session")
def one_visit(tmp_path_factory):
    """The folder of a visit that was stopped and closed after a few gates."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))
        return record_visit(tmp_path_factory.mktemp("fleet") / "first", stop_at="permission")


@pytest.fixture
def visits(one_visit, tmp_path, monkeypatch):
    """Make a folder of so many different visits, named by number, their device enrolled."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))

    def make(count):
        root = tmp_path / "visits"
        for number in range(count):
            copy = root / f"{number:04}"
            shutil.copytree(one_visit, copy)
            (copy / "set-aside").mkdir(exist_ok=True)
            (copy / "set-aside" / "torn").write_text(f"an unfinished write {number}")
        enrol_devices(root, tmp_path / "state")
        return root

    return make


@pytest.fixture
def tampered(one_visit):
    """Replace a visit by a copy in which one word is changed."""

    def replace(folder):
        shutil.rmtree(folder)
        tampered_copy(one_visit, folder)

    return replace
