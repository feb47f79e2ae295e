"""Clocks that jump, run backwards, show a wrong date or another zone: recorded, shown, never hidden."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest
from faulty_disk import FaultyDisk
from visits import START, VISIT, ToldClock, begin, resume

from handsfree.ledger import CLOCK_JUMPED, CLOSED, RESUMED, RecordVerdict, SystemClock, read, verify
from handsfree.ledger.clock import boot_identity, milliseconds, stamp

HOUR = 3_600_000


def test_a_jump_is_recorded_before_what_follows_and_shown() -> None:
    """The wall clock set by an hour is an entry of its own; the record verifies and says so."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        clock.set_by(-HOUR)
        entries = ledger.append([("heard", {}), (CLOSED, {})])
    kinds = [(entry.kind, entry.to_come) for entry in read(VISIT, disk)]
    assert kinds == [("visit-opened", 0), (CLOCK_JUMPED, 0), ("heard", 1), (CLOSED, 0)]
    assert [entry.seq for entry in entries] == [2, 3]
    assert next(entry for entry in read(VISIT, disk) if entry.kind == CLOCK_JUMPED).event["by"] == -HOUR
    report = verify(VISIT, files=disk)
    assert report.ok
    remarks = " ".join(report.remarks)
    assert "at entry 1 the clock was set by -3600.0 s" in remarks
    assert "at entry 1 the date goes back" in remarks


@pytest.mark.parametrize(("by", "jumps"), [(2000, 0), (-2000, 0), (2001, 1), (-2001, 1)])
def test_two_seconds_are_let_pass(by: int, jumps: int) -> None:
    """A clock that is slewed by its keeper is not called a jump up to two seconds in all."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        clock.set_by(by)
        ledger.append([("heard", {})])
        ledger.append([("heard", {})])
    assert [entry.kind for entry in read(VISIT, disk)].count(CLOCK_JUMPED) == jumps
    assert verify(VISIT, files=disk).verdict == RecordVerdict.OPEN


def test_two_appends_within_a_millisecond_are_no_jump() -> None:
    """A steady clock that shows the same time twice is steady."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        for _ in range(2):
            clock.pass_by(-7)
            ledger.append([("heard", {})])
    assert [(entry.kind, entry.mono) for entry in read(VISIT, disk)][1:] == [("heard", START.mono + 7)] * 2


def test_a_slow_drift_adds_up_to_a_jump() -> None:
    """Each step is small, but the sum since the clocks were last recorded counts."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        for _ in range(10):
            clock.set_by(500)
            ledger.append([("heard", {})])
    assert [entry.kind for entry in read(VISIT, disk)].count(CLOCK_JUMPED) == 2


def test_another_time_zone_is_recorded() -> None:
    """The record is in UTC whatever the zone; a change of zone is an entry."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        clock.moment = replace(clock.moment, utc_offset=-300)
        ledger.append([("heard", {})])
        ledger.append([("heard", {})])
    jump = [entry for entry in read(VISIT, disk) if entry.kind == CLOCK_JUMPED]
    assert [entry.event for entry in jump] == [{"by": 0, "utc_offset": -300, "utc_offset_before": 0}]
    remarks = " ".join(verify(VISIT, files=disk).remarks)
    assert "the zone was +0 and is -300 minutes from UTC" in remarks


def test_a_steady_clock_that_goes_back_is_recorded() -> None:
    """A machine restored from an image may run its steady clock back: said, not hidden, and no false alarm."""
    disk, clock = FaultyDisk(), ToldClock()
    with begin(disk, clock) as ledger:
        clock.moment = replace(clock.moment, mono=1)
        ledger.append([("heard", {})])
    report = verify(VISIT, files=disk)
    assert report.verdict == RecordVerdict.OPEN
    assert "at entry 1 the steady clock goes back" in report.remarks


def test_a_restart_with_an_earlier_date_is_shown() -> None:
    """After a reboot the steady clock starts again and the date may be wrong: both are seen in the report."""
    disk, clock = FaultyDisk(), ToldClock()
    begin(disk, clock).release()
    clock.reboot()
    clock.set_by(-HOUR)
    with resume(disk, clock) as ledger:
        ledger.append([(CLOSED, {})])
    assert [entry.kind for entry in read(VISIT, disk)] == ["visit-opened", RESUMED, CLOSED]
    report = verify(VISIT, files=disk)
    assert report.ok
    assert any("at entry 1 the date goes back" in remark for remark in report.remarks)
    assert "the visit was interrupted before entry 1, and resumed" in report.remarks


def test_a_date_before_the_program_existed_is_wrong() -> None:
    """A clock that lost its battery shows 1970: the record says that the date is wrong."""
    disk = FaultyDisk()
    begin(disk, ToldClock(replace(START, wall=0))).release()
    assert any("is before this program existed" in remark for remark in verify(VISIT, files=disk).remarks)


@pytest.mark.parametrize(
    "text", ["2026-1-1T00:00:00.000Z", "2026-01-01 00:00:00.000Z", "\u0662026-01-01T00:00:00.000Z", ""]
)
def test_a_time_in_another_form_is_refused(text: str) -> None:
    """One form only, so that text sorts as time."""
    with pytest.raises(ValueError, match="is not a time in the form"):
        milliseconds(text)


def test_a_time_beyond_the_calendar_is_refused() -> None:
    """RFC 3339 knows the years 0 to 9999; the calendar used here 1 to 9999."""
    with pytest.raises(OverflowError):
        stamp(10**15)


def test_the_clocks_of_the_machine_run_forward() -> None:
    """The steady clock never runs back, and the boot has a name."""
    clock = SystemClock()
    first, second = clock.now(), clock.now()
    assert second.mono >= first.mono
    assert first.boot == second.boot == boot_identity()


@pytest.mark.parametrize(("zone", "minutes"), [("UTC0", 0), ("EST5", -300), ("IST-5:30", 330)])
def test_the_zone_of_the_machine_is_told_in_minutes_east(
    zone: str, minutes: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """POSIX zones count hours west; the record counts minutes east, as RFC 3339 offsets do."""
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    assert SystemClock().now().utc_offset == minutes
    monkeypatch.undo()
    time.tzset()


def test_where_no_kernel_names_the_boot_each_start_counts_as_one(tmp_path: Path) -> None:
    """Steady times are then never compared across a restart of the program."""
    assert boot_identity(tmp_path / "none") != boot_identity(tmp_path / "none")
