"""Deciding again from the recorded inputs: the place where the session joins verification."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from attacks import LEDGER, lines_of
from faulty_disk import FaultyDisk
from visits import VISIT, ToldClock, begin, recorded

from handsfree.ledger import CLOSED, Difference, Entry, FaultClass, RecordVerdict, verify

Batches = Iterator[tuple[Entry, ...]]


def echo(batches: Batches) -> list[Difference]:
    """A made-up rule: each heard number is accepted as twice itself."""
    found = []
    for batch in batches:
        heard = [entry for entry in batch if entry.kind == "heard"]
        for cause, effect in zip(heard, batch[1:], strict=False):
            due = 2 * cause.event["number"]
            if effect.event["number"] != due:
                found.append(Difference(effect.seq, f"{due} follows from entry {cause.seq}", same_version=True))
    return found


def a_visit(*accepted: int) -> FaultyDisk:
    disk = FaultyDisk()
    with begin(disk, ToldClock()) as ledger:
        for number, twice in enumerate(accepted):
            ledger.append([("heard", {"number": number}), ("accepted", {"number": twice})])
        ledger.append([(CLOSED, {})])
    return disk


def test_decisions_that_follow_from_their_inputs_are_confirmed() -> None:
    """The check is named among those that were made."""
    report = verify(VISIT, files=a_visit(0, 2, 4), replay=echo)
    assert report.ok
    assert "decisions" in report.checks
    assert "decisions" not in verify(VISIT, files=a_visit(0, 2)).checks


def test_a_decision_altered_and_sealed_with_valid_keys_is_named() -> None:
    """The seals hold, and still the entry that does not follow from its input is the first bad one."""
    report = verify(VISIT, files=a_visit(0, 3, 5), replay=echo)
    assert (report.verdict, report.fault, report.first_bad) == (
        RecordVerdict.BROKEN,
        FaultClass.DECISION_ALTERED,
        4,
    )
    assert "2 follows from entry 3" in report.sentence
    assert [finding.seq for finding in report.findings] == [4, 6]


def test_another_version_that_decides_otherwise_is_told_and_is_no_tampering() -> None:
    """Under another version of the program a difference is a remark beside the seal."""

    def other_version(batches: Batches) -> list[Difference]:
        return [Difference(each.seq, each.why, same_version=False) for each in echo(batches)]

    report = verify(VISIT, files=a_visit(0, 3), replay=other_version)
    assert report.ok
    assert "decided again by another version, entry 4 differs: 2 follows from entry 3" in report.remarks


def test_a_broken_record_is_not_decided_again() -> None:
    """What the chain already disproves is not replayed."""
    disk = recorded(9)
    lines = lines_of(disk)
    disk.put(LEDGER, b"".join(line + b"\n" for line in [*lines[:4], *lines[5:]]))

    def never(_batches: Batches) -> list[Difference]:
        pytest.fail("replayed")

    assert verify(VISIT, files=disk, replay=never).fault == FaultClass.REMOVED
