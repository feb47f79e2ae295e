"""A store with invented visits of two offices."""

import shutil

import pytest

from handsfree.store.embedded import open_embedded
from handsfree.store.kept import Examined, NotedVisit


@pytest.fixture(scope="session")
def kept(tmp_path_factory):
    """The file of a store: 120 visits, every third stopped with something open, offices by turns; none signed."""
    file = tmp_path_factory.mktemp("kept") / "kept.sqlite"
    store = open_embedded(file)
    noted = []
    for number in range(120):
        facts = {
            "job": f"job {number}", "site": f"{number} Larkmoor Lane", "technician": "T. Echnician",
            "appliance": "Larkmoor 24", "serial": f"LM-{number % 100:03}", "instrument": "Analyser",
            "instrument_serial": f"AN-{number % 3}", "calibrated_until": f"2027-0{number % 3 + 1}-15",
            "day": f"2026-{number // 28 + 1:02}-{number % 28 + 1:02}", "office": ("north", "south")[number % 2],
        }  # fmt: skip
        noted.append(NotedVisit(f"{number:016x}", f"{number}", "light", facts))
    store.note(noted)
    for number, visit in enumerate(noted):
        stopped = number % 3 == 0
        facts = {"outcome": "stopped" if stopped else "finished", "seal": "closed", "identity": f"{number:064x}",
                 "danger": 9 if stopped else 0, "checksum": f"{number}"}  # fmt: skip
        concern = {"place": 0, "kind": "stop", "says": "Gas smell, not cleared", "weight": 90, "about": "in order",
                   "seq": 7}  # fmt: skip
        store.keep(visit.key, Examined(facts, {"concern": [concern] if stopped else []}))
    store.close()
    return file


@pytest.fixture
def store(kept, tmp_path):
    """That store, to be written to."""
    shutil.copy(kept, tmp_path / "kept.sqlite")
    store = open_embedded(tmp_path / "kept.sqlite")
    yield store
    store.close()
