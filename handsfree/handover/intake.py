"""Taking a visit in that was uploaded: unpacked and verified in a limited process, logged, and receipted.

The order is what keeps every receipt true: the folder is in its place, the package is kept as an object where the
office keeps objects, its head is in the log, the receipt is on the disk, then it goes out. A cut between any two
is made good when the device asks again.
"""

from __future__ import annotations

import hashlib
import shutil
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from handsfree.desk.examination import verified
from handsfree.desk.receiving import LONGEST_S, Arrival, Intake
from handsfree.handover.credentials import Credential
from handsfree.handover.package import unpacked
from handsfree.handover.receipts import Receipt, read_receipt
from handsfree.handover.uploads import Upload
from handsfree.ledger.clock import Clock, SystemClock, stamp
from handsfree.ledger.files import Disk, contents, ensure_folder, put
from handsfree.ledger.report import VerificationReport
from handsfree.objects.keeping import ObjectStore, keep_archive
from handsfree.office.kept_key import KeptKey
from handsfree.office.log import SpentUse, append, newest_checkpoint
from handsfree.problem import ExitCode, Problem


@dataclass(frozen=True)
class OfficeKeys:
    """What the office's machine signs with, unattended: receipts and lists, and the log."""

    receiver: KeptKey
    log: KeptKey


class NetworkIntake:
    """Visits that come over the network into one folder of visits; `state` keeps uploads and receipts."""

    def __init__(
        self,
        visits: Path,
        state: Path,
        keys: OfficeKeys,
        log: Path,
        *,
        longest_s: float = LONGEST_S,
        clock: Clock | None = None,
        taken: Callable[[Arrival], None] = lambda _: None,
        office_of: Callable[[str], str] = lambda _: "",
        objects: ObjectStore | None = None,
    ) -> None:
        """`taken` is told of each visit that was taken in for the first time.

        `office_of` says to which office a device belongs, empty where to none. Where `objects` is given each
        package is kept there too, before its receipt goes out.
        """
        self._state, self._keys, self._log, self._clock = state, keys, log, clock or SystemClock()
        self._intake, self._taken = Intake(visits, longest_s=longest_s, work=_in_limits), taken
        self._office_of, self._objects = office_of, objects
        self._one_at_a_time = threading.Lock()
        self._queue = ThreadPoolExecutor(1, thread_name_prefix="intake")
        shutil.rmtree(state / "unpacked", ignore_errors=True)

    def receipt(self, package: str) -> bytes | None:
        """Return the receipt for a package that was taken in, while its visit is still here."""
        try:
            data = contents(Disk(), self._receipt(package))
        except FileNotFoundError:
            return None
        found, _ = read_receipt(data)
        return data if self._intake.holds(found.visit, found.ledger) else None

    def queued(self, upload: Upload, sender: Credential, name: str = "") -> Future[bytes]:
        """Take in as `take` does, when its turn comes: however many wait, they hold one thread altogether."""
        return self._queue.submit(self.take, upload, sender, name)

    def take(self, upload: Upload, sender: Credential, name: str = "") -> bytes:
        """Take in what was uploaded whole and return the receipt; a second time it is the same one.

        `name` is the visit's on the device.

        Raises Problem when the file is not what its name says, is no visit, or cannot be verified.
        """
        with self._one_at_a_time:
            if (there := self.receipt(upload.digest)) is not None:
                upload.file.unlink(missing_ok=True)
                return there
            return self._take(upload, sender, name)

    def _take(self, upload: Upload, sender: Credential, name: str) -> bytes:
        with upload.file.open("rb") as stream:
            if hashlib.file_digest(stream, "sha256").hexdigest() != upload.digest:
                upload.file.unlink()
                raise Problem("what came is not what was sent", remedy="send it again", code=ExitCode.FAILED)
        room = self._state / "unpacked" / upload.digest[:16]
        shutil.rmtree(room, ignore_errors=True)
        try:
            folder = self._intake.do((upload.file, room / _plain(name), upload.digest), where=upload.digest[:12])
            arrival = self._intake.take(folder, self._office_of(sender.device))
        finally:
            shutil.rmtree(room, ignore_errors=True)
        if self._objects is not None:
            keep_archive(upload.file, upload.digest, self._objects)
        receipt = self._receipted(arrival, upload.digest, sender)
        ensure_folder(Disk(), self._receipt(upload.digest).parent, 0o700)
        put(Disk(), self._receipt(upload.digest), receipt)
        upload.file.unlink(missing_ok=True)
        self._taken(arrival)
        return receipt

    def _receipted(self, arrival: Arrival, package: str, sender: Credential) -> bytes:
        report, place = arrival.report, arrival.folder
        assert report is not None
        assert place is not None
        logged = report.ok and not report.demo
        if logged:
            spent = [SpentUse(sender.device, sender.use, sender.digest)]
            append(self._log, [_at(report, place)], self._keys.log, self._clock, spent=spent)
        return Receipt(
            at=stamp(self._clock.now().wall),
            visit=report.identity or "",
            ledger=arrival.ledger,
            package=package,
            sender=sender.device,
            verdict=report.verdict.value,
            sentence=report.sentence,
            clips=_clips_of(place) if report.whole else (),
            checkpoint=newest_checkpoint(self._log) if logged else "",
        ).sealed(self._keys.receiver)

    def _receipt(self, package: str) -> Path:
        return self._state / "receipts" / package[:2] / f"{package}.json"

    def close(self) -> None:
        """End the process that unpacks and verifies; what waits for its turn is asked for again by its device."""
        self._queue.shutdown(wait=False, cancel_futures=True)
        self._intake.close()


def _plain(name: str) -> str:
    """Return a folder's name that can do no harm, as near to the given one as may be."""
    plain = "".join(letter if letter.isprintable() and letter not in "/\\" else "-" for letter in name[:60])
    return plain.lstrip(".") or "visit"


def _in_limits(given: Path | tuple[Path, Path, str]) -> VerificationReport | Path:
    """Verify a folder; or unpack a file into a folder."""
    return verified(given) if isinstance(given, Path) else unpacked(*given)


def _at(report: VerificationReport, place: Path) -> VerificationReport:
    """Return the report of a record at the place where it lies now; it was verified under an arriving name."""
    return replace(report, folder=place)


def _clips_of(place: Path) -> tuple[str, ...]:
    """Return the clips whose bytes have the digest that names them."""
    found = []
    for file in sorted((place / "sound").glob("*.flac")):
        with file.open("rb") as stream:
            if hashlib.file_digest(stream, "sha256").hexdigest() == file.stem:
                found.append(file.stem)
    return tuple(found)
