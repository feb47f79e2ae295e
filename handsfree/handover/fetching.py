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
from handsfree.ledger.files import PART, disk_problem
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

    Raises Problem when the office cannot be reached or its list does not hold.
    """
    device = link.key.credential.device
    for waiting in link.patiently(lambda: _listed(link, device, enrolment)):
        file = inbox / waiting.kind.value / waiting.name
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            _brought(link, waiting, file)
        except OSError as error:
            raise disk_problem(error, "fetching from the office", file) from error
        link.patiently(partial(link.ask, "DELETE", f"/handover/outbox/{waiting.digest}"))
        yield Fetched(waiting, file)


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
            part.rename(file)
            return
        part.unlink()
    raise Problem("what came is not what the office signed", where=waiting.name, remedy="try again",
                  code=ExitCode.FAILED)  # fmt: skip


def _more(link: OfficeLink, waiting: WaitingFile, part: Path) -> None:
    while (have := part.stat().st_size) < waiting.size:
        answer = link.ask("GET", f"/handover/outbox/{waiting.digest}?from={have}&size={PIECE}")
        if answer.status != 200 or not answer.body or have + len(answer.body) > waiting.size:
            raise LinkBrokenError(f"a piece at {have} was answered by {answer.status}")
        with part.open("ab") as stream:
            stream.write(answer.body)
