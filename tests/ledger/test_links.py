"""Number and digest bind each entry to the one before it, even for somebody who holds the sealing keys."""

from __future__ import annotations

import io
import json

import pytest
from attacks import LEDGER, lines_of, resealed, stolen_secret
from faulty_disk import FaultyDisk
from visits import STATE, VISIT, begin

from handsfree.ledger import CLOSED, DeviceKey, FaultClass, VerificationReport, chain, read, verify
from handsfree.ledger.clock import stamp
from handsfree.ledger.entry import canonical, digest_of
from handsfree.ledger.ratchet import Secret

FORGED = 3


def forged(**change: object) -> VerificationReport:
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
    assert (report.fault, report.first_bad) == (FaultClass.CHANGED, FORGED)
    assert f"entry {seq} stands where entry 3 belongs" in report.sentence


@pytest.mark.parametrize("prev", ["0" * 64, "f" * 64, digest_of(b"another entry")])
def test_an_entry_carries_the_digest_of_the_one_before_it(prev: str) -> None:
    """Sealed by the right key over another past it is refused there."""
    report = forged(prev=prev)
    assert (report.fault, report.first_bad) == (FaultClass.CHANGED, FORGED)
    assert "it does not carry the digest of the entry before it" in report.sentence


@pytest.mark.parametrize(("back", "fault"), [(500, FaultClass.RE_DATED), (1, FaultClass.RE_DATED), (0, None)])
def test_both_clocks_cannot_go_back_together(back: int, fault: FaultClass | None) -> None:
    """They agree with each other, and still the steady clock only runs forward within one boot."""
    before = next(entry for entry in read(VISIT, honest()) if entry.seq == FORGED - 1)
    report = forged(mono=before.mono - back, at=stamp(before.wall - back))
    assert report.fault == fault
    assert report.first_bad == (None if fault is None else FORGED)


def honest() -> FaultyDisk:
    """Return the record as it is before anybody forges it."""
    disk = FaultyDisk()
    with begin(disk) as ledger:
        for number in range(1, 6):
            ledger.append([("heard", {"number": number})])
    return disk


def test_a_record_begins_with_the_opening_even_for_who_holds_the_devices_keys() -> None:
    """A first entry of another kind, under the device's next key, is no beginning."""
    disk = honest()
    proof, signer = DeviceKey(STATE, disk).use_next()
    first = json.loads(lines_of(disk)[0]) | {"kind": "heard", "event": {}, "device": proof.as_json()}
    del first["seal"]
    first["next_key"] = Secret(bytes(32)).public().hex()
    first["seal"] = signer.sign(canonical(first)).hex()
    disk.put(LEDGER, canonical(first) + b"\n")
    report = verify(VISIT, files=disk)
    assert (report.fault, report.first_bad) == (FaultClass.CHANGED, 0)
    assert "a record begins with visit-opened, and only begins with it" in report.sentence


def test_of_an_endless_line_no_more_than_four_mebibytes_are_read_at_once() -> None:
    """A record without line feeds must not fill the memory of whoever reads it."""
    most = 4 * 1024 * 1024
    assert [len(line) for line in chain.lines_of(io.BytesIO(b"x" * (most + 5)))] == [most, 5]


def test_a_line_that_may_not_follow_says_why() -> None:
    """In words, where it comes up as an error."""
    assert str(chain.Broken(FaultClass.CHANGED, "its number is not the next")) == "its number is not the next"
