"""A store with invented visits of two offices."""

import shutil
from itertools import count

import psycopg
import pytest

from handsfree.store.embedded import open_embedded
from handsfree.store.kept import Examined, NotedVisit
from handsfree.store.postgresql import open_postgresql

_NUMBERS = count()


def fill(store):
    """Keep 120 visits, every third stopped with something open, offices by turns; none signed."""
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


@pytest.fixture(scope="session")
def embedded(tmp_path_factory):
    """The file of such a store."""
    file = tmp_path_factory.mktemp("kept") / "kept.sqlite"
    fill(open_embedded(file))
    return file


@pytest.fixture(scope="session")
def template(postgresql, tmp_path_factory):
    """The name of a database with such a store in it."""
    with psycopg.connect(postgresql.format("postgres"), autocommit=True) as base:
        base.execute("CREATE DATABASE api")
    fill(open_postgresql(postgresql.format("api"), tmp_path_factory.mktemp("parts")))
    return "api"


@pytest.fixture(params=["embedded", "postgresql"])
def store(request, tmp_path):
    """Such a store on each engine, to be written to."""
    if request.param == "embedded":
        shutil.copy(request.getfixturevalue("embedded"), tmp_path / "kept.sqlite")
        store = open_embedded(tmp_path / "kept.sqlite")
    else:
        address, name = request.getfixturevalue("postgresql"), f"api_{next(_NUMBERS)}"
        template = request.getfixturevalue("template")
        with psycopg.connect(address.format("postgres"), autocommit=True) as base:
            base.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
        store = open_postgresql(address.format(name), tmp_path / "parts")
    yield store
    store.close()
