"""Enrolment lists for the tests: an office with a key of its own, and the devices that sealed some visits."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.ledger import VerificationReport
from handsfree.ledger.head import Head
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.endorsing import prepare_sign_offs, supervisor
from handsfree.office.enrolling import add, begin
from handsfree.office.enrolment import NAME, EnrolledKey, Enrolment, Role
from handsfree.office.kept_key import KeptKey
from handsfree.office.signatures import KeyHolder
from handsfree.office.verification import known_enrolment

OFFICE = KeptKey(Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
"""The same in every test, so that a list can be gone on with."""

SUPERVISOR = KeyHolder(KeptKey(Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33)))))
STRANGER = KeyHolder(KeptKey(Ed25519PrivateKey.from_private_bytes(bytes(range(2, 34)))))
NAMED = "A. Supervisor"


def known_supervisor(*devices: str) -> Enrolment:
    """Return a list that was never written: the supervisor, and these devices."""
    keys = {SUPERVISOR.key: EnrolledKey(SUPERVISOR.key, NAMED, Role.SUPERVISOR, BEFORE_THE_PROGRAM)}
    keys |= {key: EnrolledKey(key, "tablet", Role.DEVICE, BEFORE_THE_PROGRAM) for key in devices}
    return Enrolment("The office of Larkmoor", OFFICE.public, own=False, keys=keys, head=Head(3, "0" * 64))


def device_of(folder: Path) -> str:
    """Return the key of the device that sealed a visit, by its first line alone."""
    with (folder / "ledger.jsonl").open("rb") as stream:
        return str(json.loads(stream.readline())["device"]["key"])


def list_of(path: Path, devices: Iterable[str], *, own: bool = False) -> Path:
    """Make a list with these devices and the supervisor in a new file."""
    begin(path, OFFICE, "The office of Larkmoor", own=own)
    for number, key in enumerate(sorted(set(devices)), start=1):
        add(path, OFFICE, key=key, name=f"tablet {number}", role=Role.DEVICE, valid_from=BEFORE_THE_PROGRAM)
    add(path, OFFICE, key=SUPERVISOR.key, name=NAMED, role=Role.SUPERVISOR, valid_from=BEFORE_THE_PROGRAM)
    return path


def enrol_devices(visits: Path, state: Path) -> Path:
    """Enrol, in a state folder's list, all devices that sealed the visits beneath a folder."""
    folders = (ledger.parent for ledger in visits.rglob("ledger.jsonl"))
    return list_of(state / NAME, map(device_of, folders))


def signed(report: VerificationReport, verdict: str = "accepted", remark: str = "") -> None:
    """Let the supervisor sign a record that was just verified, by this machine's copy of the list."""
    enrolment = known_enrolment()
    who = supervisor(enrolment, SUPERVISOR.key)
    prepare_sign_offs([report], who, enrolment, verdict=verdict, remark=remark).signed(SUPERVISOR)
