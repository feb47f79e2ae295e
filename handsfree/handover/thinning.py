"""Making room on the device: the sound of visits that the office has receipted, by a policy, on command alone.

The record itself is not touched. The device seals the list of the clips that are left out, as an export without
sound does, so the visit still verifies and says where it is reduced.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from pathlib import Path

from handsfree.handover.receipts import Receipt, kept_receipt
from handsfree.ledger import RecordVerdict
from handsfree.ledger.clock import Clock, SystemClock, milliseconds, stamp
from handsfree.ledger.device import DeviceKey
from handsfree.ledger.entry import digest_of
from handsfree.ledger.files import Disk, contents, disk_problem, put
from handsfree.ledger.manifest import read_manifest, sealed_manifest
from handsfree.ledger.visit import VisitFolder
from handsfree.office.enrolment import Enrolment
from handsfree.problem import ExitCode, Problem


@dataclass(frozen=True)
class ThinningPolicy:
    """Which sound may go: that of visits whose receipt is at least so old."""

    after: dt.timedelta = dt.timedelta(days=30)


@dataclass(frozen=True)
class Thinned:
    """What became of one visit: how many clips and bytes went, or why none may."""

    folder: Path
    clips: int = 0
    size: int = 0
    why_not: str = ""


def thin(
    folder: Path,
    policy: ThinningPolicy,
    enrolment: Enrolment | None,
    state: Path,
    *,
    clock: Clock | None = None,
) -> Thinned:
    """Delete a visit's clips that the office holds, if the policy says so.

    Each clip that goes stands in a receipt of an enrolled receiver for this very record. Raises Problem when the
    receipt does not hold or the disk fails.
    """
    now = (clock or SystemClock()).now().wall
    visit, receipt = VisitFolder(folder), kept_receipt(folder, enrolment)
    if receipt is None:
        return Thinned(folder, why_not="the office has given no receipt for it")
    try:
        ledger = contents(Disk(), visit.ledger)
        if why_not := _why_not(receipt, ledger, policy, now):
            return Thinned(folder, why_not=why_not)
        going = [clip for clip in receipt.clips if visit.clip(clip).is_file()]
        size = sum(visit.clip(clip).stat().st_size for clip in going)
        if going:
            _declare(visit, receipt, going, stamp(now), DeviceKey(state))
        for clip in going:
            visit.clip(clip).unlink()
    except OSError as error:
        raise disk_problem(error, "thinning the visit", folder) from error
    return Thinned(folder, len(going), size)


def _why_not(receipt: Receipt, ledger: bytes, policy: ThinningPolicy, now: int) -> str:
    identity = digest_of(ledger.split(b"\n", 1)[0])
    if (receipt.visit, receipt.ledger) != (identity, hashlib.sha256(ledger).hexdigest()):
        return "the office's receipt is for another state of the record; send it again"
    if receipt.verdict not in {RecordVerdict.CLOSED, RecordVerdict.REDUCED}:
        return f"the office found: {receipt.sentence}"
    if now - milliseconds(receipt.at) < policy.after / dt.timedelta(milliseconds=1):
        return f"the receipt is younger than {policy.after.days} days"
    return ""


def _declare(visit: VisitFolder, receipt: Receipt, going: list[str], at: str, key: DeviceKey) -> None:
    """Seal the list of what is left out before the first clip goes: cut between them, the record verifies."""
    before = read_manifest(visit, Disk(), receipt.visit)
    if before is not None and before.fault:
        raise Problem(before.fault, where=str(visit.folder), code=ExitCode.FAILED)
    left_out = sorted({*going, *(before.left_out if before else ())})
    put(Disk(), visit.export_note, sealed_manifest(receipt.visit, receipt.ledger, left_out, at, key))
