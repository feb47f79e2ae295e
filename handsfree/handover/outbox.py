"""What waits at the office for a device: a folder for each device, and in it one for each kind of thing.

`OUTBOX/DEVICE/questions/…` and so on. The device fetches a list that the office signs, with the digest of every
file, then the files; what it has taken is moved to `fetched/`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from handsfree.handover.receipts import must_be_receiver
from handsfree.ledger.clock import Clock, SystemClock, milliseconds, stamp
from handsfree.ledger.entry import canonical
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.ratchet import holds
from handsfree.ledger.visit import is_plain_name
from handsfree.office.enrolment import Enrolment
from handsfree.office.kept_key import KeptKey
from handsfree.problem import ExitCode, Problem

FETCHED = "fetched"
LIST_KIND = "outbox"
MOST_WAITING = 1_000
_MEMBERS = frozenset({"answers", "at", "device", "files", "kind", "receiver", "seal"})


class Consignment(StrEnum):
    """What kinds of things an office sends to a device, by the name of their folder."""

    QUESTION = "questions"
    """The supervisor asks about a visit."""
    APPLIANCE = "appliances"
    """Sheets of maker's data."""
    PROCEDURE = "procedures"
    """Released procedures."""
    JOB = "jobs"
    """The sheets of the next jobs, each with the appliance sheet that it names."""
    VISIT = "visits"
    """The last visits of sites that are next."""


@dataclass(frozen=True)
class WaitingFile:
    """One file that waits: of which kind, its name, its size in bytes and its SHA-256 (hex)."""

    kind: Consignment
    name: str
    size: int
    digest: str


class Outbox:
    """All that waits for the devices of an office."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def put(self, device: str, kind: Consignment, name: str, data: bytes) -> Path:
        """Lay a file ready for a device; one of the same name that still waits is replaced."""
        if not is_digest(device):
            raise Problem("a device is named by its key, 64 hex digits", where=repr(device))
        if not is_plain_name(name) or name.startswith("."):
            raise Problem("this is no plain file name", where=repr(name))
        path = self._folder / device / kind.value / name
        try:
            ensure_folder(Disk(), path.parent, 0o700)
            put(Disk(), path, data)
        except OSError as error:
            raise disk_problem(error, "laying a file ready", path) from error
        return path

    def put_new(self, device: str, kind: Consignment, name: str, data: bytes) -> bool:
        """Lay a file ready unless it waits, or was fetched, with this content; say whether it was."""
        there = self._folder / device
        for path in (there / kind.value / name, there / FETCHED / kind.value / name):
            try:
                if is_plain_name(name) and contents(Disk(), path) == data:
                    return False
            except FileNotFoundError:
                continue
            except OSError as error:
                raise disk_problem(error, "looking at what waits", path) from error
        self.put(device, kind, name, data)
        return True

    def knows(self, device: str, kind: Consignment, name: str) -> bool:
        """Say whether a file of that name waits, or was fetched."""
        there = self._folder / device
        return any((folder / kind.value / name).exists() for folder in (there, there / FETCHED))

    def waiting(self, device: str) -> list[WaitingFile]:
        """Return what waits for a device, in the order of kind and name."""
        return [waiting for waiting, _ in self._files(device)]

    def find(self, device: str, digest: str) -> Path | None:
        """Return the file of that digest which waits for a device."""
        return next((path for waiting, path in self._files(device) if waiting.digest == digest), None)

    def fetched(self, device: str, digest: str) -> bool:
        """Move a file away that the device has taken; say whether it was waiting."""
        path = self.find(device, digest)
        if path is None:
            return False
        aside = self._folder / device / FETCHED / path.parent.name
        aside.mkdir(parents=True, exist_ok=True)
        path.rename(aside / path.name)
        return True

    def _files(self, device: str) -> Iterator[tuple[WaitingFile, Path]]:
        for kind in Consignment:
            folder = self._folder / device / kind.value
            for path in sorted(folder.iterdir())[:MOST_WAITING] if folder.is_dir() else ():
                if path.is_file() and not path.is_symlink() and path.suffix != ".part":
                    with path.open("rb") as stream:
                        digest = hashlib.file_digest(stream, "sha256").hexdigest()
                    yield WaitingFile(kind, path.name, path.stat().st_size, digest), path


def signed_list(
    waiting: list[WaitingFile], device: str, answers: str, key: KeptKey, clock: Clock | None = None
) -> bytes:
    """Return the list for a device, sealed; `answers` repeats the word that the device asked with."""
    members: dict[str, Any] = {
        "answers": answers,
        "at": stamp((clock or SystemClock()).now().wall),
        "device": device,
        "files": [{**vars(one), "kind": one.kind.value} for one in waiting],
        "kind": LIST_KIND,
        "receiver": key.public,
    }
    return canonical({**members, "seal": key.sign(canonical(members)).hex()}) + b"\n"


def held_list(data: bytes, device: str, answers: str, enrolment: Enrolment | None) -> list[WaitingFile]:
    """Return what a list says.

    Raises Problem when no enrolled receiver signed it, or it was made for another device or another asking.
    """
    try:
        members = json.loads(data)
        if members.keys() != _MEMBERS or members["kind"] != LIST_KIND or canonical(members) + b"\n" != data:
            raise _no_list("it has not the form of one")
        milliseconds(members["at"])
        unsealed = canonical({name: value for name, value in members.items() if name != "seal"})
        if not holds(bytes.fromhex(members["receiver"]), bytes.fromhex(members["seal"]), unsealed):
            raise _no_list("its seal does not fit")
        files = [WaitingFile(Consignment(one.pop("kind")), **one) for one in members["files"]]
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise _no_list("it cannot be read") from error
    must_be_receiver(members["receiver"], members["at"], enrolment)
    if (members["device"], members["answers"]) != (device, answers):
        raise _no_list("it was made for another device or another time")
    for one in files:
        if not is_plain_name(one.name) or one.name.startswith(".") or not is_digest(one.digest):
            raise _no_list("a name in it is none")
    return files


def _no_list(why: str) -> Problem:
    return Problem(f"the office's list of what waits does not hold: {why}", code=ExitCode.FAILED)
