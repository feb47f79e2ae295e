"""Fetching what waits at the office for this device, each file held to the digest in the office's signed list."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from handsfree.handover.office_link import LinkBrokenError, OfficeLink
from handsfree.handover.outbox import WaitingFile, held_list
from handsfree.ledger.files import PART, Disk, disk_problem, ensure_folder
from handsfree.office.enrolment import Enrolment
from handsfree.problem import ExitCode, Problem

PIECE = 256 << 10


@dataclass(frozen=True)
class Fetched:
    """A file that the office sent, and where it lies now."""

    waiting: WaitingFile
    file: Path


def fetch(link: OfficeLink, enrolment: Enrolment | None, inbox: Path) -> Iterator[Fetched]:
    """Fetch what waits into `inbox`, a folder for each kind; a file of the same name there is replaced.

    A file is ticked off at the office when the next one is asked for; who stops before that is sent it once more.

    Raises Problem when the office cannot be reached or its list does not hold.
    """
    device = link.key.credential.device
    for waiting in link.patiently(lambda: _listed(link, device, enrolment)):
        file = inbox / waiting.kind.value / waiting.name
        try:
            ensure_folder(Disk(), file.parent, 0o755)
            _brought(link, waiting, file)
        except OSError as error:
            raise disk_problem(error, "fetching from the office", file) from error
        yield Fetched(waiting, file)  # said before it is ticked off
        link.patiently(partial(link.ask, "DELETE", f"/handover/outbox/{waiting.digest}"))


def _listed(link: OfficeLink, device: str, enrolment: Enrolment | None) -> list[WaitingFile]:
    word = secrets.token_urlsafe(12)
    answer = link.ask("GET", f"/handover/outbox?answers={word}")
    if answer.status != 200:
        raise LinkBrokenError(f"it answered {answer.status}")
    return held_list(answer.body, device, word, enrolment)


def _brought(link: OfficeLink, waiting: WaitingFile, file: Path) -> None:
    part = file.with_name(f"{waiting.digest[:16]}{PART}")
    for _ in range(2):
        part.touch()
        link.patiently(lambda: _more(link, waiting, part), lambda: part.stat().st_size)
        if hashlib.sha256(part.read_bytes()).hexdigest() == waiting.digest:
            _lasting(part, file)
            return
        part.unlink()
    raise Problem("what came is not what the office signed", where=waiting.name, remedy="try again",
                  code=ExitCode.FAILED)  # fmt: skip


def _lasting(part: Path, file: Path) -> None:
    """Give a whole file its name so that a loss of power takes neither: the office forgets it after this."""
    disk = Disk()
    handle = disk.open(part)
    try:
        disk.fsync(handle)
    finally:
        disk.close(handle)
    disk.rename(part, file.name)
    disk.fsync_folder(file.parent)


def _more(link: OfficeLink, waiting: WaitingFile, part: Path) -> None:
    while (have := part.stat().st_size) < waiting.size:
        answer = link.ask("GET", f"/handover/outbox/{waiting.digest}?from={have}&size={PIECE}")
        if answer.status != 200 or not answer.body or have + len(answer.body) > waiting.size:
            raise LinkBrokenError(f"a piece at {have} was answered by {answer.status}")
        with part.open("ab") as stream:
            stream.write(answer.body)
