"""One crash or fault, from the first call to the closed record, judged."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from faulty_disk import FaultyDisk, Loss, PowerCut, cutting_at, failing_at
from visits import STATE, VISIT, ToldClock, WholeVisit

from handsfree.ledger import RecordVerdict, verify
from handsfree.problem import Problem

SLOT = 4096


def calls_of_a_visit(unflushed: Iterable[str] = ()) -> int:
    """How many calls a whole visit makes, from the first to the closed record."""
    disk = FaultyDisk()
    WholeVisit(disk).run()
    return disk.calls


def cut(number: int, unflushed: Iterable[str] = ()) -> WholeVisit:
    """Begin a visit and cut the power at a call; the visit holds what had been acknowledged by then."""
    disk = FaultyDisk()
    disk.fault, disk.unflushed = cutting_at(number), frozenset(unflushed)
    visit = WholeVisit(disk)
    try:
        visit.run()
    except PowerCut:
        return visit
    raise AssertionError("the power was never cut")


def restarted(visit: WholeVisit, loss: Loss, cut_again_at: int | None = None) -> WholeVisit:
    """The same visit on the machine started again after the loss; power may fail once more at a later call."""
    disk = visit.disk.after_power_cut(loss)
    disk.unflushed = visit.disk.unflushed
    if cut_again_at is not None:
        disk.fault = cutting_at(cut_again_at)
    return WholeVisit(
        disk,
        ToldClock(visit.clock.moment),
        visit.folder,
        [*visit.acknowledged],
        [*visit.sounds],
        visit.step,
    )


def assert_survived(visit: WholeVisit) -> None:
    """After a restart: no false alarm, old keys gone, the visit goes on to its close, nothing is lost."""
    disk = visit.disk
    assert_no_alarm(disk, visit.folder)
    assert_keys_turned(disk, visit)
    visit.finish()
    visit.assert_nothing_lost()
    if visit.folder != VISIT:
        assert_no_alarm(disk, VISIT)


def assert_no_alarm(disk: FaultyDisk, folder: Path) -> None:
    """A verifier without any key must not call an honest crash tampering."""
    if folder / "ledger.jsonl" in disk.files():
        report = verify(folder, files=disk)
        assert report.verdict != RecordVerdict.BROKEN, report.sentence


def assert_keys_turned(disk: FaultyDisk, visit: WholeVisit) -> None:
    """No slot of a key file still holds a secret that could seal again what was acknowledged."""
    if not visit.acknowledged:
        return
    count = visit.acknowledged[-1].seq + 1
    files = disk.files()
    for path, data in files.items():
        if path.suffix == ".key":
            least = 1 if path.parent == STATE else count
            slots = [data[start : start + SLOT].rstrip(b"\0\n") for start in (0, SLOT)]
            turns = [json.loads(slot.partition(b" ")[2])["turn"] for slot in slots if slot.endswith(b"}")]
            if path.parent == STATE or visit.folder == VISIT:
                assert min(turns) >= least, f"{path} still holds the key of turn {min(turns)}"


def told_of_failures(failure: int | str, numbers: Iterable[int], *, sticky: bool) -> int:
    """Fail each call of these numbers in a visit of its own; return how often the person was told.

    Whatever fails, nothing acknowledged is lost and the visit ends once the disk is well again.
    """
    told = 0
    for number in numbers:
        disk = FaultyDisk()
        disk.fault = failing_at(number, failure, sticky=sticky)
        visit = WholeVisit(disk)
        try:
            visit.run()
        except Problem as problem:
            told += bool(problem.where) and "\n" not in problem.sentence()
            disk.fault = lambda _number, _name: None
            assert_no_alarm(disk, VISIT)
            visit.finish()
        visit.assert_nothing_lost()
    return told
