"""An author, an office's list, and one small procedure released once for all tests of this folder."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.bundles.archive import Bundle
from handsfree.bundles.taken import TakenBundles
from handsfree.ledger import Moment
from handsfree.ledger.clock import milliseconds
from handsfree.office.enrolling import add, begin
from handsfree.office.enrolment import Enrolment, Role, read_enrolment
from handsfree.office.kept_key import KeptKey
from handsfree.release.making import Author, made

DATA = Path(__file__).with_name("data")
OFFICE, AUTHOR, STRANGER = (
    KeptKey(Ed25519PrivateKey.from_private_bytes(bytes(range(first, first + 32)))) for first in (0, 1, 2)
)
SINCE, TODAY = "2026-01-01T00:00:00.000Z", "2026-03-01T08:00:00.000Z"
NOW = milliseconds(TODAY)
DAY = 86_400_000


class Stopped:
    """A clock that shows what it is told."""

    def __init__(self, wall: int = NOW) -> None:
        self.wall = wall

    def now(self) -> Moment:
        return Moment(self.wall, 0, "boot")


@pytest.fixture(scope="session")
def enrolment(tmp_path_factory: pytest.TempPathFactory) -> Enrolment:
    """A list with one author and one supervisor."""
    path = tmp_path_factory.mktemp("office") / "enrolment.jsonl"
    begin(path, OFFICE, "The office of Larkmoor")
    add(path, OFFICE, key=AUTHOR.public, name="A. Author", role=Role.AUTHOR, valid_from=SINCE)
    add(path, OFFICE, key=STRANGER.public, name="A. Supervisor", role=Role.SUPERVISOR, valid_from=SINCE)
    return read_enrolment(path)


@pytest.fixture(scope="session")
def author(enrolment: Enrolment) -> Author:
    return Author.of(AUTHOR, enrolment, NOW)


@pytest.fixture(scope="session")
def released(author: Author) -> Bundle:
    """Version 1.0.0 of the small procedure, approved for 30 days."""
    return made(DATA / "one-check.yaml", author, now=NOW, days=30)


@pytest.fixture
def beside(tmp_path: Path) -> Path:
    """A copy of the small procedure with its stories, to be changed."""
    for name in ("one-check.yaml", "one-check.tests.yaml"):
        shutil.copy(DATA / name, tmp_path / name)
    return tmp_path / "one-check.yaml"


@pytest.fixture
def clock() -> Stopped:
    return Stopped()


@pytest.fixture
def device(tmp_path: Path, enrolment: Enrolment, clock: Stopped) -> TakenBundles:
    """A device that knows the office's list and has taken nothing yet."""
    return TakenBundles(tmp_path / "bundles", enrolment, clock)
