"""What a report says beside its verdict: remarks, how far the end is known, the edges of dates and counts."""

from __future__ import annotations

from dataclasses import replace

import pytest
from attacks import LEDGER, changed, lines_of
from faulty_disk import FaultyDisk
from visits import START, STATE, VISIT, ToldClock, WholeVisit, begin, events, recorded, resume

from handsfree.ledger import CLOSED, FaultClass, RecordVerdict, VerificationReport, verify
from handsfree.ledger.clock import milliseconds
from handsfree.ledger.verification import BEFORE_THE_PROGRAM

RECORD = recorded(20)
LINES = lines_of(RECORD)


def with_lines(*lines: bytes, **options: object) -> VerificationReport:
    """Verify a copy of the record with other lines."""
    disk = RECORD.copy()
    disk.put(LEDGER, b"".join(line + b"\n" for line in lines))
    return verify(VISIT, files=disk, **options)  # type: ignore[arg-type]


def other_event(line: bytes) -> bytes:
    return changed(line, lambda members: members.update(event={"number": -1}))


# Remarks


def test_an_ordinary_record_has_nothing_remarkable() -> None:
    """Neither without the device's key nor with it."""
    report = verify(VISIT, files=RECORD)
    assert report.remarks == ()
    assert verify(VISIT, files=RECORD, device_key=report.device).remarks == ()
    assert verify(VISIT, files=RECORD, device_key=report.device).ok


def test_an_interrupted_visit_is_remarked_once_and_nothing_more() -> None:
    """Resumed later on the same day: neither date nor steady clock went back."""
    disk, clock = FaultyDisk(), ToldClock()
    begin(disk, clock).release()
    clock.pass_by(60_000)
    with resume(disk, clock) as ledger:
        ledger.append([(CLOSED, {})])
    key = verify(VISIT, files=disk).device
    assert verify(VISIT, files=disk, device_key=key).remarks == (
        "the visit was interrupted before entry 1, and resumed",
    )


@pytest.mark.parametrize(("by", "back"), [(-7, False), (-8, True), (0, False)])
def test_the_same_millisecond_is_not_back_in_time(by: int, back: bool) -> None:
    """The clock shows the time of the entry before, or a millisecond less; after a reboot only the date counts."""
    disk, clock = FaultyDisk(), ToldClock()
    begin(disk, clock).release()
    clock.reboot()
    clock.set_by(by)
    resume(disk, clock).release()
    remarks = verify(VISIT, files=disk).remarks
    assert any("the date goes back" in remark for remark in remarks) == back
    assert not any("the steady clock goes back" in remark for remark in remarks)


def test_a_steady_clock_that_stands_still_does_not_go_back() -> None:
    """Two entries in one millisecond."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        for _ in range(2):
            clock.pass_by(-7)
            ledger.append([("heard", {})])
    assert not any("goes back" in remark for remark in verify(VISIT, files=disk).remarks)


@pytest.mark.parametrize(("early", "wrong"), [(0, False), (1, True)])
def test_the_first_honest_date_is_not_wrong(early: int, wrong: bool) -> None:
    """From the day on that the program existed."""
    disk = FaultyDisk()
    wall = milliseconds(BEFORE_THE_PROGRAM) - early - 7  # the clock goes forward 7 ms at each look
    begin(disk, ToldClock(replace(START, wall=wall))).release()
    remarks = verify(VISIT, files=disk).remarks
    assert any("is before this program existed" in remark for remark in remarks) == wrong


def test_a_wrong_date_is_told_where_it_began() -> None:
    """Once, and not again at every entry that follows."""
    disk = FaultyDisk()
    with begin(disk, ToldClock(replace(START, wall=0))) as ledger:
        ledger.append(events(2))
    remarks = verify(VISIT, files=disk).remarks
    assert len([remark for remark in remarks if "is before this program existed" in remark]) == 1


def test_a_clock_slewed_back_by_a_second_is_let_pass() -> None:
    """Its keeper corrects it; two seconds in all are no jump, and no remark."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        clock.set_by(-1000)
        ledger.append([("heard", {})])
    report = verify(VISIT, files=disk)
    assert report.verdict == RecordVerdict.OPEN
    assert not any("goes back" in remark for remark in report.remarks)


# How far the end is known


def test_an_open_record_says_whether_its_end_is_known() -> None:
    """With the head of its end, or on its device, nothing is missing; else nobody can tell."""
    disk = recorded(20, closed=False)
    head = verify(VISIT, files=disk).head
    assert head is not None
    known, unknown = "nothing that was recorded is missing at the end", "the record alone cannot tell"
    told = {
        "alone": verify(VISIT, files=disk),
        "with its head": verify(VISIT, files=disk, expected=(head.count, head.checksum)),
        "on its device": verify(VISIT, files=disk, state=STATE),
        "with an earlier head": verify(VISIT, files=disk, expected=(1, first_checksum(disk))),
    }
    assert {name: known in report.sentence for name, report in told.items()} == {
        "alone": False,
        "with its head": True,
        "on its device": True,
        "with an earlier head": False,
    }
    assert all((unknown in report.sentence) != (known in report.sentence) for report in told.values())
    assert all(
        (report.verdict, report.fault) == (RecordVerdict.OPEN, FaultClass.NOT_CLOSED) for report in told.values()
    )


def first_checksum(disk: FaultyDisk) -> str:
    """Return the checksum that was read out after the first entry."""
    alone = disk.copy()
    alone.put(LEDGER, lines_of(disk)[0] + b"\n")
    head = verify(VISIT, files=alone).head
    assert head is not None
    return head.checksum


def test_an_unfinished_write_is_told_with_its_bytes() -> None:
    """And only where there is one."""
    disk = recorded(7, closed=False)
    assert "unfinished write" not in verify(VISIT, files=disk).sentence
    disk.put(LEDGER, disk.bytes_of(LEDGER) + b'{"at":"2026-12-23T0')
    report = verify(VISIT, files=disk)
    assert "then 19 bytes of an unfinished write" in report.sentence
    assert report.first_bad == 7


def test_a_record_cut_off_while_it_began_can_be_checked_for_nothing() -> None:
    """No whole entry: no head, no checks, no identity, and nothing to compare a head with."""
    disk = RECORD.copy()
    disk.put(LEDGER, LINES[0][:40])
    report = verify(VISIT, files=disk, expected=(20, "000 000 000 000"), device_key="00" * 32, state=STATE)
    assert (report.verdict, report.fault, report.first_bad) == (RecordVerdict.OPEN, FaultClass.NOT_CLOSED, 0)
    assert (report.head, report.checks, report.remarks) == (None, (), ())
    assert (report.identity, report.opened_at, report.device, report.use) == (None, None, None, None)
    assert "no whole entry is there" in report.sentence
    assert not report.ok


def test_a_whole_record_tells_who_made_it_and_when() -> None:
    """From its first entry."""
    report = verify(VISIT, files=RECORD)
    assert report.identity is not None
    assert (report.use, report.head.count if report.head else 0) == (0, 20)
    assert report.opened_at == "2026-12-23T04:26:40.007Z"
    assert set(report.checks) >= {"chain", "seals", "dates"}


# Counts and checksums read out elsewhere


@pytest.mark.parametrize("count", range(1, 21))
def test_a_head_read_out_at_any_time_of_the_visit_is_found_again(count: int) -> None:
    """The checksum after each entry, however far the visit went on."""
    disk = RECORD.copy()
    whole = verify(VISIT, files=disk)
    parts = [entry_checksum(number) for number in (count, count - 1) if number]
    report = verify(VISIT, files=disk, expected=(count, parts[0]))
    assert report.ok
    assert report.checks == (*whole.checks, "count and checksum")
    if len(parts) > 1:
        other = verify(VISIT, files=disk, expected=(count, parts[1]))
        assert (other.fault, other.first_bad) == (FaultClass.CHANGED, count - 1)
        assert f"the checksum is {parts[0]}, and {parts[1]} was read out" in other.sentence


def entry_checksum(count: int) -> str:
    """Return the checksum after so many entries: twelve digits of the last line's digest (FORMAT.md)."""
    import hashlib  # noqa: PLC0415 - computed apart from the program

    number = int(hashlib.sha256(LINES[count - 1]).hexdigest()[:16], 16) % 10**12
    digits = f"{number:012d}"
    return " ".join(digits[at : at + 3] for at in range(0, 12, 3))


def test_a_head_of_no_entries_is_none_of_this_record() -> None:
    """Nothing was read out before the first entry."""
    report = verify(VISIT, files=RECORD, expected=(0, "000 000 000 000"))
    assert (report.fault, report.first_bad) == (FaultClass.CHANGED, 0)


def test_one_entry_more_than_there_is_was_cut_off() -> None:
    """The count alone tells it: 21 were read out, 20 are left."""
    report = verify(VISIT, files=RECORD, expected=(21, "000 000 000 000"))
    assert [(one.seq, one.fault) for one in report.findings] == [(20, FaultClass.TRUNCATED)]
    assert "21 entries were read out and 20 are left" in report.sentence


def test_a_record_broken_before_its_end_is_not_called_cut_off_as_well() -> None:
    """What stands after a broken entry is not counted, so nothing can be said of the end."""
    broken = with_lines(
        *LINES[:5], other_event(LINES[5]), *LINES[6:], expected=(20, entry_checksum(20)), state=STATE
    )
    assert [(one.seq, one.fault) for one in broken.findings] == [(5, FaultClass.CHANGED)]
    assert {"count and checksum", "this device's own count"} <= set(broken.checks)


def test_findings_stand_in_the_order_of_their_entries() -> None:
    """A foreign device comes first, since it concerns the first entry."""
    report = with_lines(
        *LINES[:5], other_event(LINES[5]), *LINES[6:], expected=(2, entry_checksum(3)), device_key="00" * 32
    )
    assert [(one.seq, one.fault) for one in report.findings] == [
        (0, FaultClass.FOREIGN_DEVICE),
        (1, FaultClass.CHANGED),
        (5, FaultClass.CHANGED),
    ]
    assert report.sentence.endswith("; 2 more findings follow")


def test_a_foreign_device_is_told_before_everything_else() -> None:
    """Whatever else was found: a sound that is gone, a source that was changed."""
    disk = FaultyDisk()
    WholeVisit(disk).run()
    (sound,) = [path for path in disk.files() if path.suffix == ".flac"]
    (source,) = [path for path in disk.files() if path.name == "procedure.yaml"]
    disk.put(sound, b"other")
    disk.put(source, b"gates: [other]\n")
    assert len(verify(VISIT, files=disk).findings) == 2
    faults = [one.fault for one in verify(VISIT, files=disk, device_key="00" * 32).findings]
    assert faults[0] == FaultClass.FOREIGN_DEVICE
    assert set(faults[1:]) == {FaultClass.SOUND_ALTERED, FaultClass.SOURCE_ALTERED}


def test_this_devices_count_is_compared_only_with_its_own_secrets() -> None:
    """Another folder of secrets, or none, compares nothing and remarks nothing."""
    assert "this device's own count" in verify(VISIT, files=RECORD, state=STATE).checks
    assert "this device's own count" not in verify(VISIT, files=RECORD).checks
    elsewhere = verify(VISIT, files=RECORD, state=STATE / "elsewhere")
    assert "this device's own count" not in elsewhere.checks
    assert elsewhere.ok


def test_a_damaged_count_of_this_device_is_remarked_and_the_record_still_checked() -> None:
    """The key file is spoiled: the comparison is left out, said, and nothing else changes."""
    disk = RECORD.copy()
    (key,) = [path for path in disk.files() if path.suffix == ".key" and path.parent != STATE]
    disk.put(key, b"spoiled\n")
    report = verify(VISIT, files=disk, state=STATE)
    assert report.ok
    assert "this device's own count" not in report.checks
    assert any(remark.startswith("this device's own count was not compared: ") for remark in report.remarks)


def test_a_clock_set_forward_is_told_with_sign_zone_and_no_step_back() -> None:
    """By how much, in seconds, and that the date did not go back."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        clock.set_by(90_500)
        ledger.append([*events(0), (CLOSED, {})])
    key = verify(VISIT, files=disk).device
    (remark,) = verify(VISIT, files=disk, device_key=key).remarks
    assert remark == "at entry 1 the clock was set by +90.5 s; the zone was +0 and is +0 minutes from UTC"
