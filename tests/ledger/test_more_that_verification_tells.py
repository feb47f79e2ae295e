"""What a report says of the procedure, of what was erased and of dates to come, and what it hands on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from attacks import LEDGER, changed, lines_of
from faulty_disk import FaultyDisk
from visits import VISIT, ToldClock, WholeVisit, begin, recorded

from handsfree.ledger import CLOSED, Entry, FaultClass, RecordVerdict, read, verification, verify

RECORD = recorded(20)
TEN_MINUTES = 600_000


# The procedure that led the visit


def remarks_of(**opening: Any) -> tuple[str, ...]:
    """Return the remarks on a closed visit whose first entry says so of its procedure."""
    disk = FaultyDisk()
    with begin(disk, ToldClock(), **opening) as ledger:
        ledger.append([(CLOSED, {})])
    report = verify(VISIT, files=disk)
    assert report.ok
    return report.remarks


def test_a_draft_and_a_procedure_that_is_not_proven_are_remarked() -> None:
    """Neither is a fault of the record; both concern whoever relies on the visit."""
    draft = "it was led by a draft, a procedure that no author approved"
    assert remarks_of(standing={"status": "draft"}) == (draft,)
    unproven = "it was led by a procedure that is not proven: firing, way-down"
    assert remarks_of(unproven=["firing", "way-down"]) == (unproven,)
    assert remarks_of(standing={"status": "draft"}, unproven=["firing", "way-down"]) == (draft, unproven)


@pytest.mark.parametrize(
    "opening", [{}, {"standing": {"status": "approved"}}, {"standing": None}, {"unproven": []}]
)
def test_an_approved_and_proven_procedure_is_not_remarked(opening: dict[str, Any]) -> None:
    assert remarks_of(**opening) == ()


# What was erased


def test_what_was_erased_is_told_beside_everything_else() -> None:
    """In the remarks and apart, and the record stands."""
    disk = FaultyDisk()
    visit = WholeVisit(disk)
    visit.run()
    (name,) = visit.sounds
    disk.unlink(VISIT / "sound" / f"{name}.flac")
    report = verify(VISIT, files=disk, erased={name: "A. Office on 2027-01-02"})
    assert report.ok
    assert len(report.erased) == 1
    assert "A. Office on 2027-01-02" in report.erased[0]
    assert report.remarks.count(report.erased[0]) == 1


# Dates to come


@pytest.mark.parametrize(("early", "to_come"), [(0, False), (1, True)])
def test_a_device_may_be_ten_minutes_ahead(early: int, to_come: bool) -> None:
    """To the millisecond, by its newest entry."""
    last = list(read(VISIT, RECORD))[-1]
    report = verify(VISIT, files=RECORD, now=last.wall - TEN_MINUTES - early)
    assert [one.fault for one in report.findings] == ([FaultClass.FUTURE] if to_come else [])
    assert report.ok != to_come


# What is handed on


def walked(disk: FaultyDisk) -> list[Entry]:
    entries: list[Entry] = []
    verify(VISIT, files=disk, walked=entries)
    return entries


def test_the_entries_of_a_record_without_a_fault_are_handed_on() -> None:
    """In their order, closed or not yet."""
    for disk in (RECORD, recorded(7, closed=False)):
        assert walked(disk) == list(read(VISIT, disk))


def test_nothing_is_handed_on_of_a_record_with_a_fault() -> None:
    disk, lines = RECORD.copy(), lines_of(RECORD)
    lines[15] = changed(lines[15], lambda members: members.update(event={"number": -1}))
    disk.put(LEDGER, b"".join(line + b"\n" for line in lines))
    assert verify(VISIT, files=disk).verdict == RecordVerdict.BROKEN
    assert walked(disk) == []


def test_a_record_of_very_many_batches_is_decided_again_from_the_disk_and_not_handed_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As many as are kept are handed on; with one more none is, and all are decided again all the same."""
    given: list[tuple[Entry, ...]] = []

    def replay(batches: Iterator[tuple[Entry, ...]]) -> list[verification.Difference]:
        given.extend(batches)
        return []

    verify(VISIT, files=RECORD, replay=replay)
    whole = list(given)
    assert sum(map(len, whole)) == 20
    for most, handed_on in ((len(whole), 20), (len(whole) - 1, 0)):
        given.clear()
        monkeypatch.setattr(verification, "MOST_KEPT", most)
        entries: list[Entry] = []
        report = verify(VISIT, files=RECORD, replay=replay, walked=entries)
        assert report.ok
        assert (given, len(entries)) == (whole, handed_on)
