"""Each call to the disk fails in turn, once or from then on, as sqlite.org/testing.html does for I/O errors."""

from __future__ import annotations

import errno

import pytest
from faulty_disk import FaultyDisk, failing_at
from outcomes import calls_of_a_visit, told_of_failures
from visits import ToldClock, begin

from handsfree.problem import Problem

CALLS = calls_of_a_visit()


EVERY_CALL = pytest.mark.slow("each call of a visit; the fast stage has every fifth")


@pytest.mark.parametrize("sticky", [False, True], ids=["once", "from then on"])
@pytest.mark.parametrize(
    ("failure", "stride"),
    [(errno.EIO, 5), (errno.ENOSPC, 5), (errno.EINTR, 5), pytest.param(errno.EIO, 1, marks=EVERY_CALL)],
    ids=["EIO", "ENOSPC", "EINTR", "EIO at each"],
)
def test_a_failing_call_is_told_and_loses_nothing(failure: int, stride: int, sticky: bool) -> None:
    """The person is told in one sentence, nothing more is acknowledged, and with the disk well the visit ends."""
    numbers = range(0, CALLS, stride)
    assert told_of_failures(failure, numbers, sticky=sticky) == len(numbers)


@pytest.mark.slow("each call of a visit")
@pytest.mark.parametrize(("sticky", "stride"), [(False, 1), (True, 24)], ids=["once", "from then on"])
def test_a_disk_that_takes_a_byte_at_a_time_is_no_failure(sticky: bool, stride: int) -> None:
    """A short write is carried on until all is written."""
    assert told_of_failures("short", range(0, CALLS, stride), sticky=sticky) == 0


def test_after_a_failure_nothing_is_appended_until_the_visit_is_opened_again() -> None:
    """A failed write leaves the disk in doubt: the ledger refuses at once, with the same sentence."""
    disk = FaultyDisk()
    ledger = begin(disk, ToldClock())
    disk.fault = failing_at(disk.calls + 1, errno.ENOSPC)
    with pytest.raises(Problem, match="the disk is full while recording; free some space, then resume the visit"):
        ledger.append([("heard", {"words": ["stop"]})])
    calls = disk.calls
    with pytest.raises(Problem, match="the disk is full"):
        ledger.append([("heard", {"words": ["stop"]})])
    assert disk.calls == calls
