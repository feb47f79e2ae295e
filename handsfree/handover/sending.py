"""Sending closed visits to the office: asked for by hash, uploaded piece by piece, believed by receipt alone."""

from __future__ import annotations

import base64
import tempfile
from dataclasses import dataclass
from enum import StrEnum
from http import HTTPStatus
from pathlib import Path
from urllib.parse import urlencode

from handsfree.handover.office_link import HttpAnswer, LinkBrokenError, OfficeLink
from handsfree.handover.package import VisitPackage, packed
from handsfree.handover.receipts import Receipt, keep_receipt, receipt_of
from handsfree.handover.uploads import VERSION
from handsfree.ledger import CLOSED, batches
from handsfree.office.carried import carry
from handsfree.office.enrolment import Enrolment
from handsfree.problem import ExitCode, Problem

LARGEST, SMALLEST = 1 << 20, 8 << 10
"""Bytes of a piece: halved whenever the link breaks, doubled whenever a piece arrives."""
STILL_AT_IT_S = 1.0
"""Before the office is asked again whether it has verified a visit; it lets each question wait, too."""
TRIES = 3
"""How often a whole visit is sent, where what the office says does not fit together."""


class SentAs(StrEnum):
    """What became of a visit that was to be sent."""

    SENT = "sent"
    THERE = "there already"
    OPEN = "not closed, so not sent"
    REFUSED = "not taken in"


@dataclass(frozen=True)
class Sent:
    """One visit: what became of it, the office's receipt where there is one, and what to say of it."""

    folder: Path
    how: SentAs
    receipt: Receipt | None = None
    says: str = ""


class Sender:
    """One device's sending to one office."""

    def __init__(self, link: OfficeLink, enrolment: Enrolment | None) -> None:
        """`enrolment` names the receivers whose receipts are believed."""
        self._link, self._enrolment = link, enrolment
        self._piece = LARGEST >> 2

    def send(self, folder: Path) -> Sent:
        """Send one visit and keep its receipt beside it; Problem when the office cannot be reached."""
        if not _is_closed(folder):
            return Sent(folder, SentAs.OPEN)
        with tempfile.TemporaryDirectory(prefix="handsfree-") as room:
            try:
                package = packed(folder, Path(room) / "visit.tar")
            except Problem as problem:  # this visit's own: the others go on
                return Sent(folder, SentAs.REFUSED, None, problem.sentence())
            there = self._link.patiently(lambda: self._link.ask("GET", f"/handover/visits/{package.digest}"))
            if there.status == 200:
                receipt = self._kept(folder, package, there)
                return Sent(folder, SentAs.THERE, receipt, receipt.sentence)
            return self._sent(folder, package)

    def _sent(self, folder: Path, package: VisitPackage) -> Sent:
        """Upload and have it taken in; once more where the office has not, or not rightly, what it said it had."""
        for _ in range(TRIES):
            self._upload(package)
            answer = self._taken(package, folder.resolve().name)
            if answer.status in {200, 201}:
                receipt = self._kept(folder, package, answer)
                return Sent(folder, SentAs.SENT, receipt, receipt.sentence)
            if self._link.patiently(lambda: self._offset(package)) == package.size:
                break
        return Sent(folder, SentAs.REFUSED, None, answer.says())

    def _kept(self, folder: Path, package: VisitPackage, answer: HttpAnswer) -> Receipt:
        receipt = receipt_of(answer.body, self._enrolment)
        if receipt.package != package.digest:
            raise Problem("the office's receipt is for something else", where=str(folder), code=ExitCode.FAILED)
        keep_receipt(folder, answer.body)
        if receipt.checkpoint:
            carry(receipt.checkpoint)
        return receipt

    def _upload(self, package: VisitPackage) -> None:
        at = -1

        def step() -> None:
            nonlocal at
            try:
                at = self._begun(package)
                while at < package.size:
                    at = self._add(package, at)
                    self._piece = min(LARGEST, self._piece * 2)
            except LinkBrokenError:
                self._piece = max(SMALLEST, self._piece // 2)
                raise

        self._link.patiently(step, lambda: at)

    def _begun(self, package: VisitPackage) -> int:
        """Return how far the office has the file; begin where it has nothing."""
        there = self._offset(package)
        if there is not None:
            return there
        coded = base64.b64encode(package.digest.encode()).decode()
        answer = self._ask(
            "POST", "/handover/uploads", headers={"Upload-Length": str(package.size),
                                                  "Upload-Metadata": f"sha256 {coded}"}
        )  # fmt: skip
        if answer.status != 201:
            raise Problem(
                f"the office takes no upload: {answer.says()}", where=self._link.address, code=ExitCode.FAILED
            )
        return _offset_of(answer)

    def _offset(self, package: VisitPackage) -> int | None:
        answer = self._ask("HEAD", f"/handover/uploads/{package.digest}")
        return _offset_of(answer) if answer.status == 200 else None

    def _add(self, package: VisitPackage, offset: int) -> int:
        """Send a piece and return how far the office has the file now."""
        with package.file.open("rb") as stream:
            stream.seek(offset)
            piece = stream.read(self._piece)
        headers = {"Content-Type": "application/offset+octet-stream", "Upload-Offset": str(offset)}
        answer = self._ask("PATCH", f"/handover/uploads/{package.digest}", piece, headers)
        if answer.status == 204 and _offset_of(answer) == offset + len(piece):
            return offset + len(piece)
        raise LinkBrokenError(f"a piece at {offset} was answered by {answer.status}")

    def _taken(self, package: VisitPackage, name: str) -> HttpAnswer:
        """Ask until the office has taken it in or refused it, however long others are before it."""
        target, waited = f"/handover/visits/{package.digest}?{urlencode({'name': name})}", 0

        def step() -> HttpAnswer:
            nonlocal waited
            while (answer := self._link.ask("PUT", target)).status == HTTPStatus.ACCEPTED:
                waited += 1
                self._link.pause(STILL_AT_IT_S)
            if answer.status not in {200, 201, 404, 409, 422}:
                raise LinkBrokenError(f"it answered {answer.status}")
            return answer

        return self._link.patiently(step, lambda: waited)

    def _ask(
        self, method: str, target: str, body: bytes = b"", headers: dict[str, str] | None = None
    ) -> HttpAnswer:
        return self._link.ask(method, target, body, {"Tus-Resumable": VERSION, **(headers or {})})


def _offset_of(answer: HttpAnswer) -> int:
    text = answer.headers.get("upload-offset", "")
    if not text.isdecimal():
        raise LinkBrokenError("no offset came")
    return int(text)


def _is_closed(folder: Path) -> bool:
    """Say whether the last entry of a record closes it; what is damaged is for the office to see, too."""
    last = ""
    try:
        for batch in batches(folder):
            last = batch[-1].kind
    except Problem as problem:
        if problem.code is ExitCode.FAILED:
            return True
        raise
    return last == CLOSED
