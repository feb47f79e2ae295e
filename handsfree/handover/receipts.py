"""The office's receipt for a visit: which bytes it holds, verified, signed by the machine that took them.

A device believes nothing else: an answer of the network, whatever it says, lets nothing be thinned. The receipt
stands beside the visit as `receipt.json`, canonical JSON (RFC 8785) sealed with Ed25519 by an enrolled receiver.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.ledger.clock import milliseconds
from handsfree.ledger.entry import canonical
from handsfree.ledger.files import Disk, contents, disk_problem, put
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.ratchet import holds
from handsfree.ledger.visit import VisitFolder
from handsfree.office.enrolment import Enrolment, Role
from handsfree.office.kept_key import KeptKey
from handsfree.problem import ExitCode, Problem

KIND, FORMAT = "receipt", 1
LONGEST = 4 << 20
_MEMBERS = frozenset(
    {"at", "checkpoint", "clips", "format", "kind", "ledger", "package", "receiver", "seal", "sentence", "sender",
     "verdict", "visit"}
)  # fmt: skip


@dataclass(frozen=True)
class Receipt:
    """What an office holds of a visit."""

    at: str
    visit: str
    """The digest of its first entry, which names it."""
    ledger: str
    """SHA-256 of the record's file."""
    package: str
    """SHA-256 of what was sent."""
    sender: str
    """The key of the device that sent it."""
    verdict: str
    """What verification on arrival said, in one word, and in a sentence."""
    sentence: str
    clips: tuple[str, ...]
    """The clips that the office holds and whose bytes have their digests."""
    checkpoint: str
    """The office's log with this visit's head in it, as a signed note; empty when it was not logged."""

    def sealed(self, key: KeptKey) -> bytes:
        """Return the receipt as a line that the receiver's key seals."""
        members = {
            **vars(self), "clips": sorted(self.clips), "format": FORMAT, "kind": KIND, "receiver": key.public
        }  # fmt: skip
        return canonical({**members, "seal": key.sign(canonical(members)).hex()}) + b"\n"


def read_receipt(data: bytes) -> tuple[Receipt, str]:
    """Return the receipt that a line holds and the key that sealed it; Problem when the seal does not fit."""
    try:
        members: dict[str, Any] = json.loads(data)
        if members.keys() != _MEMBERS or members["kind"] != KIND or members["format"] != FORMAT:
            raise _no_receipt("it has other members than it must")
        if len(data) > LONGEST or canonical(members) + b"\n" != data:
            raise _no_receipt("it is not in canonical form")
        milliseconds(members["at"])
        receiver, seal = members["receiver"], bytes.fromhex(members["seal"])
        unsealed = canonical({name: value for name, value in members.items() if name != "seal"})
        clips = tuple(map(str, members["clips"]))
        if not all(map(is_digest, [receiver, members["ledger"], members["package"], members["visit"], *clips])):
            raise _no_receipt("a digest in it is none")
        if not holds(bytes.fromhex(receiver), seal, unsealed):
            raise _no_receipt("its seal does not fit")
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise _no_receipt("it cannot be read") from error
    plain = {name: members[name] for name in Receipt.__dataclass_fields__ if name != "clips"}
    return Receipt(**plain, clips=clips), receiver


def receipt_of(data: bytes, enrolment: Enrolment | None) -> Receipt:
    """Return the receipt that a line holds; Problem when its seal is not an enrolled receiver's.

    Without an enrolment list no receiver is known, so no receipt is.
    """
    receipt, receiver = read_receipt(data)
    must_be_receiver(receiver, receipt.at, enrolment)
    return receipt


def must_be_receiver(key: str, at: str, enrolment: Enrolment | None) -> None:
    """Raise Problem when a key was no enrolled receiver at a time."""
    known = enrolment.find(key, Role.RECEIVER) if enrolment else None
    if known is None or not known.valid_at(at):
        raise Problem(
            f"the receipt or list is signed by {key}, which is no receiver on this device's enrolment list",
            remedy="take the office's newest list over: handsfree enrol import FILE",
            code=ExitCode.FAILED,
        )


def _no_receipt(why: str) -> Problem:
    return Problem(f"this is no receipt: {why}", code=ExitCode.FAILED)


def keep_receipt(folder: Path, data: bytes) -> None:
    """Keep a receipt beside its visit, in place of an older one."""
    try:
        put(Disk(), VisitFolder(folder).receipt, data)
    except OSError as error:
        raise disk_problem(error, "keeping the receipt", folder) from error


def kept_receipt(folder: Path, enrolment: Enrolment | None) -> Receipt | None:
    """Return the receipt beside a visit; None where there is none, Problem when it does not hold."""
    try:
        data = contents(Disk(), VisitFolder(folder).receipt)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise disk_problem(error, "reading the receipt", folder) from error
    return receipt_of(data, enrolment)
