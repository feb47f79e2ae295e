"""Enrolment lists for the tests: an office with a key of its own, and the devices that sealed some visits."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.enrolling import add, begin
from handsfree.office.enrolment import NAME, Role
from handsfree.office.kept_key import KeptKey

OFFICE = KeptKey(Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
"""The same in every test, so that a list can be gone on with."""


def device_of(folder: Path) -> str:
    """Return the key of the device that sealed a visit, by its first line alone."""
    with (folder / "ledger.jsonl").open("rb") as stream:
        return str(json.loads(stream.readline())["device"]["key"])


def list_of(path: Path, devices: Iterable[str], *, own: bool = False) -> Path:
    """Make a list with these devices in a new file."""
    begin(path, OFFICE, "The office of Larkmoor", own=own)
    for number, key in enumerate(sorted(set(devices)), start=1):
        add(path, OFFICE, key=key, name=f"tablet {number}", role=Role.DEVICE, valid_from=BEFORE_THE_PROGRAM)
    return path


def enrol_devices(visits: Path, state: Path) -> Path:
    """Enrol, in a state folder's list, all devices that sealed the visits beneath a folder."""
    folders = (ledger.parent for ledger in visits.rglob("ledger.jsonl"))
    return list_of(state / NAME, map(device_of, folders))
