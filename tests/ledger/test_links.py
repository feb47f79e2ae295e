"""Number and digest bind each entry to the one before it, even for somebody who holds the sealing keys."""

from __future__ import annotations

import json

import pytest
from attacks import LEDGER, lines_of, resealed, stolen_secret
from faulty_disk import FaultyDisk
from visits import VISIT, begin

from handsfree.ledger import CLOSED, Fault, Report, verify
from handsfree.ledger.entry import canonical, digest_of

FORGED = 3


def forged(**change: object) -> Report:
    """Let the holder of the key of entry 3 change it, seal it, and chain and seal all that follows anew."""
    disk = FaultyDisk()
    ledger = begin(disk)
    for number in range(1, 6):
        if number == FORGED:
            secret = stolen_secret(disk)
        ledger.append([("heard", {"number": number})])
    ledger.append([(CLOSED, {})])
    lines = lines_of(disk)
    members = json.loads(lines[FORGED]) | change
    del members["seal"]
    members["next_key"] = secret.following().public().hex()
    members["seal"] = secret.signer().sign(canonical(members)).hex()
    lines[FORGED] = canonical(members)
    disk.put(LEDGER, b"".join(line + b"\n" for line in resealed(lines, FORGED + 1, secret.following())))
    return verify(VISIT, files=disk)


def test_who_holds_the_keys_can_seal_another_content() -> None:
    """This is the limit of the seals, and shows that what is refused below is refused for its place alone."""
    assert forged(event={"number": 33}).ok


@pytest.mark.parametrize("seq", [1, 2, 4, 5, 6, 7, 99])
def test_an_entry_bears_the_number_of_its_place(seq: int) -> None:
    """Sealed by the right key under another number it is refused there."""
    report = forged(seq=seq)
    assert (report.fault, report.first_bad) == (Fault.CHANGED, FORGED)
    assert f"entry {seq} stands where entry 3 belongs" in report.sentence


@pytest.mark.parametrize("prev", ["0" * 64, "f" * 64, digest_of(b"another entry")])
def test_an_entry_carries_the_digest_of_the_one_before_it(prev: str) -> None:
    """Sealed by the right key over another past it is refused there."""
    report = forged(prev=prev)
    assert (report.fault, report.first_bad) == (Fault.CHANGED, FORGED)
    assert "it does not carry the digest of the entry before it" in report.sentence
