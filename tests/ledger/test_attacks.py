"""Everything that can be done to a record by hand is found, and the first bad entry is named."""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest
from attacks import (
    LEDGER,
    attack,
    changed,
    flipped_bits,
    lines_of,
    remembered_links,
    resealed,
    stolen_secret,
    thefts,
    truncated,
    undetected,
)
from faulty_disk import FaultyDisk
from hypothesis import given, settings
from hypothesis import strategies as some
from visits import STATE, VISIT, ToldClock, begin, events, recorded, resume

from handsfree.ledger import CLOSED, DeviceKey, FaultClass, RecordVerdict, across, verify
from handsfree.ledger.entry import canonical
from handsfree.ledger.ratchet import Secret
from handsfree.problem import Problem

CLOSED_RECORD = recorded(20)
LINES = lines_of(CLOSED_RECORD)
OPEN_RECORD = recorded(20, closed=False)


@settings(max_examples=300)
@given(some.integers(0, 2**32))
def test_an_attack_without_keys_is_found_and_the_first_bad_entry_named(seed: int) -> None:
    """Changed, re-dated, removed, added, moved, reformatted, cut off or sealed with other keys."""
    with remembered_links():
        assert undetected(attack(random.Random(seed), LINES), CLOSED_RECORD.copy()) is None


@settings(max_examples=200)
@given(some.integers(0, 2**32))
def test_whoever_holds_the_current_key_cannot_rewrite_what_is_written(seed: int) -> None:
    """With the secret that lies on the device after entry 20, no earlier entry can be sealed again."""
    secret = stolen_secret(OPEN_RECORD)
    with remembered_links():
        assert undetected(thefts(random.Random(seed), lines_of(OPEN_RECORD), secret), OPEN_RECORD.copy()) is None


@pytest.mark.parametrize("every", [41, pytest.param(11, marks=pytest.mark.slow("ten thousand bits"))])
def test_flipping_any_bit_is_found(every: int) -> None:
    """Every so many bits of a closed record of 20 entries; the bench flips every one."""
    data = CLOSED_RECORD.bytes_of(LEDGER)
    with remembered_links():
        assert flipped_bits(data, CLOSED_RECORD.copy(), range(0, len(data) * 8, every)) == []


def test_an_entry_altered_and_repeated_is_changed() -> None:
    """Of two made-up lines in the place of an entry neither fits: the entry is called changed."""
    made_up = [
        changed(LINES[5], lambda members, kind=kind: members.update(kind=kind)) for kind in ("heard-1", "heard-2")
    ]
    disk = CLOSED_RECORD.copy()
    disk.put(LEDGER, b"".join(line + b"\n" for line in [*LINES[:5], *made_up, *LINES[6:]]))
    report = verify(VISIT, files=disk)
    assert (report.fault, report.first_bad) == (FaultClass.CHANGED, 5)


@pytest.mark.slow("hundreds of records")
def test_every_bit_of_the_last_entry_counts() -> None:
    """No digest of a later entry covers the last: its seal alone must."""
    data = CLOSED_RECORD.bytes_of(LEDGER)
    with remembered_links():
        start = len(data) - len(LINES[-1]) - 1
        assert flipped_bits(data, CLOSED_RECORD.copy(), range(start * 8, len(data) * 8)) == []


@pytest.mark.slow("hundreds of records")
def test_a_record_cut_at_any_byte_is_torn_and_never_called_tampered() -> None:
    """Every byte of a record of 20 entries; the bench does it with 200."""
    data = CLOSED_RECORD.bytes_of(LEDGER)
    with remembered_links():
        assert truncated(data, CLOSED_RECORD.copy(), range(len(data) + 1)) == []


def test_a_thief_can_go_on_with_an_open_visit_and_this_is_the_limit_of_the_seals() -> None:
    """Who holds the device in the middle of a visit can add to it; only what was written before is protected."""
    disk = OPEN_RECORD.copy()
    with resume(disk) as ledger:
        ledger.append([("reading", {"value": "8.80"}), (CLOSED, {})])
    assert verify(VISIT, files=disk).ok


def test_nobody_can_go_on_with_a_closed_record() -> None:
    """The key that would seal an entry after the close is never kept, not even on the device."""
    for path, data in CLOSED_RECORD.files().items():
        if path.suffix == ".key" and path.parent != STATE:
            assert json.loads(data[65 : data.index(b"\n")])["secret"] == ""
    with pytest.raises(Problem, match="this record is closed"):
        resume(CLOSED_RECORD.copy())


@pytest.mark.parametrize("after", [b"{}\n", b"x", b'{"at":"2026', b"\n", b"\0" * 600, LINES[-1] + b"\n"])
def test_anything_after_the_close_is_an_addition(after: bytes) -> None:
    """A closed record never grows, not even by what elsewhere might be the trace of a power cut."""
    disk = CLOSED_RECORD.copy()
    disk.put(LEDGER, disk.bytes_of(LEDGER) + after)
    report = verify(VISIT, files=disk)
    assert (report.fault, report.first_bad) == (FaultClass.ADDED, 20)


def test_a_cut_off_end_is_found_with_the_count_that_was_read_out() -> None:
    """The chain cannot see entries missing at its end; the count and the checksum can."""
    disk = CLOSED_RECORD.copy()
    head = verify(VISIT, files=disk).head
    assert head is not None
    assert verify(VISIT, files=disk, expected=(head.count, head.checksum)).ok
    disk.put(LEDGER, b"".join(line + b"\n" for line in LINES[:16]))
    blind = verify(VISIT, files=disk)
    assert (blind.verdict, blind.fault) == (RecordVerdict.OPEN, FaultClass.NOT_CLOSED)
    assert "cannot tell" in blind.sentence
    seeing = verify(VISIT, files=disk, expected=(head.count, head.checksum))
    assert (seeing.verdict, seeing.fault, seeing.first_bad) == (RecordVerdict.BROKEN, FaultClass.TRUNCATED, 16)


def test_a_cut_off_end_is_found_on_the_device_that_recorded_it() -> None:
    """The device keeps the count and digest of each visit it recorded, open or closed."""
    for record, count in ((CLOSED_RECORD, 20), (OPEN_RECORD, 20)):
        disk = record.copy()
        assert verify(VISIT, files=disk, state=STATE).fault in {None, FaultClass.NOT_CLOSED}
        disk.put(LEDGER, b"".join(line + b"\n" for line in lines_of(record)[:16]))
        report = verify(VISIT, files=disk, state=STATE)
        assert (report.fault, report.first_bad) == (FaultClass.TRUNCATED, 16)
        assert f"{count} entries were recorded on this device and 16 are left" in report.sentence


def test_another_checksum_than_the_one_read_out_is_a_changed_record() -> None:
    """A record made anew with valid keys has another checksum than the one the office wrote down."""
    report = verify(VISIT, files=CLOSED_RECORD, expected=(12, "000 000 000 001"))
    assert (report.fault, report.first_bad) == (FaultClass.CHANGED, 11)


def test_a_record_made_by_another_device_is_named() -> None:
    """The device's public key as handed over tells a genuine record from one made elsewhere."""
    key = DeviceKey(STATE, CLOSED_RECORD).public_key()
    assert "device key" in verify(VISIT, files=CLOSED_RECORD, device_key=key.upper()).checks
    other = recorded(5)
    report = verify(VISIT, files=other, device_key=key)
    assert (report.fault, report.first_bad) == (FaultClass.FOREIGN_DEVICE, 0)


def test_a_thief_cannot_give_a_made_up_visit_the_number_of_an_earlier_one() -> None:
    """The one-time key of an earlier visit is gone from the device: its number cannot be claimed."""
    disk = CLOSED_RECORD.copy()
    proof, signer = DeviceKey(STATE, disk).use_next()
    assert proof.use == 1
    members = json.loads(LINES[0])
    del members["seal"]
    for device in (proof.as_json() | {"use": 0}, members["device"], members["device"] | {"signer": proof.signer}):
        first = members | {"device": device, "next_key": Secret(bytes(32)).public().hex()}
        first["seal"] = signer.sign(canonical(first)).hex()
        made_up = resealed([canonical(first), *LINES[1:]], 1, Secret(bytes(32)))
        disk.put(LEDGER, b"".join(line + b"\n" for line in made_up))
        report = verify(VISIT, files=disk)
        assert (report.fault, report.first_bad) == (FaultClass.FORGED, 0)


def test_a_made_up_visit_under_a_later_number_shows_beside_the_others() -> None:
    """A thief can make a new visit with an old date; its number then disagrees with its neighbours' dates."""
    disk, clock = FaultyDisk(), ToldClock()
    folders = [VISIT.with_name(name) for name in ("first", "second", "made-up")]
    for number, folder in enumerate(folders):
        if number == 2:
            clock.set_by(-10_000_000)
        with begin(disk, clock, folder) as ledger:
            ledger.append([*events(number), (CLOSED, {})])
        clock.pass_by(3_000_000)
    reports = [verify(folder, files=disk) for folder in folders]
    assert all(report.ok for report in reports)
    (odd,) = across(reports)
    assert "numbered 1 and 2 but dated the other way round" in odd


def test_two_visits_under_one_number_are_named_and_a_copy_is_not() -> None:
    """Two visits sealed with the same one-time key cannot both be genuine; a copy is the same visit."""
    report = verify(VISIT, files=CLOSED_RECORD)
    copy = replace(report, folder=report.folder / "copy")
    assert across([report, copy, verify(VISIT, files=recorded(5))]) == ()
    (odd,) = across([report, replace(copy, identity="0" * 64)])
    assert "bear the same number 0 of one device" in odd
