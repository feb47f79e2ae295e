"""Power fails in the middle of a visit, and everything acknowledged is still there afterwards.

The model of loss (sectors and names that were not flushed are kept, lost or zeroed at will) follows the
description of crash testing on sqlite.org/testing.html and the OSDI 2014 paper on application-level crash
consistency (Pillai and others).
"""

from __future__ import annotations

import errno
import os
import random

import pytest
from faulty_disk import EVERY_SAME, FaultyDisk, Loss, PowerCut
from lists import SUPERVISOR, known_supervisor
from outcomes import assert_survived, calls_of_a_visit, cut, restarted
from visits import VISIT, ToldClock, WholeVisit, begin, resume

from handsfree.ledger import members_named, read
from handsfree.office.endorsing import redact_clip
from handsfree.problem import Problem

CALLS = calls_of_a_visit()
EVERY_CALL = range(CALLS)


@pytest.mark.parametrize("every", [7, pytest.param(1, marks=pytest.mark.slow("each call of a visit, each loss"))])
def test_a_cut_at_every_call_with_every_loss_loses_nothing(every: int) -> None:
    """Whatever the call and whether unflushed data and names survive, the visit goes on and verifies."""
    for number in EVERY_CALL[::every]:
        visit = cut(number)
        for loss in EVERY_SAME:
            assert_survived(restarted(visit, loss))


@pytest.mark.parametrize(
    "seeds", [range(50), pytest.param(range(50, 150), marks=pytest.mark.slow("more of them"))]
)
@pytest.mark.parametrize("sector", [512, 4096])
def test_unflushed_sectors_kept_lost_or_zeroed_at_random_lose_nothing(sector: int, seeds: range) -> None:
    """Sectors and names survive or not independently of each other; 150 seeded cases for each sector size."""
    for seed in seeds:
        rng = random.Random(f"{sector}-{seed}")
        visit = cut(rng.choice(EVERY_CALL))
        assert_survived(restarted(visit, Loss.seeded(rng, sector)))


@pytest.mark.slow("hundreds of visits are cut twice")
def test_a_second_cut_during_recovery_is_harmless() -> None:
    """Power fails again at each call of the recovery, and the third start still loses nothing."""
    for seed, number in enumerate(range(CALLS // 3, CALLS, 13)):
        first = cut(number)
        for again in range(40):
            rng = random.Random(f"{seed}-{again}")
            second = restarted(first, Loss.seeded(rng, 512), cut_again_at=again)
            try:
                second.finish()
            except PowerCut:
                assert_survived(restarted(second, Loss.seeded(rng, 512)))


def _harmed(seed: int, unflushed: list[str]) -> bool:
    """Cut the power during a visit and again during its recovery, at seeded places; say whether harm was done."""
    rng = random.Random(seed)
    first = cut(rng.randrange(CALLS // 3, CALLS), unflushed)
    second = restarted(first, Loss.seeded(rng, 512), cut_again_at=rng.randrange(15, 35))
    try:
        second.finish()
    except PowerCut:
        try:
            assert_survived(restarted(second, Loss.seeded(rng, 512)))
        except AssertionError:
            return True
    return False


@pytest.mark.slow("five hundred visits are cut twice")
def test_the_flush_of_a_recovery_is_needed() -> None:
    """Among the same seeded double cuts, none does harm with the flush, and one does without it."""
    place = "recovery.py:_settle_on_disk:files.fsync(handle)"
    assert not any(_harmed(seed, []) for seed in range(260))
    assert any(_harmed(seed, [place]) for seed in range(260))


def test_what_a_failed_flush_dropped_is_written_again() -> None:
    """A batch that the system shows after a failed fsync, but never wrote, is durable once the visit goes on.

    After a failed fsync Linux may mark the pages clean although they never reached the disk: the finding
    behind PostgreSQL's change to stop at once (lwn.net/Articles/752063).
    """
    disk, clock = FaultyDisk(), ToldClock()
    ledger = begin(disk, clock)
    disk.fault = lambda _number, name: _raise(errno.EIO) if name == "fsync" else None
    with pytest.raises(Problem, match="the disk failed"):
        ledger.append([("heard", {"words": ["stop"]})])
    ledger.release()
    for node in disk.nodes.values():
        node.pending.clear()
    disk.fault = lambda _number, _name: None
    with resume(disk, clock) as ledger:
        assert [entry.kind for (entry,) in ledger.batches()] == ["visit-opened", "heard", "visit-resumed"]
    left = disk.after_power_cut(Loss())
    assert [entry.kind for entry in read(VISIT, left)] == ["visit-opened", "heard", "visit-resumed"]


def _raise(number: int) -> None:
    raise OSError(number, os.strerror(number))


ENROLMENT = known_supervisor()


def test_a_redacted_clip_is_gone_after_a_power_cut() -> None:
    """When a redaction is said to be done, no power cut brings the clip back."""
    for unflushed, gone in (
        (frozenset[str](), True),
        (frozenset({"endorsing.py:redact_clip:files.fsync_folder(visit.sound)"}), False),
    ):
        disk = recorded_with_sound()
        name = next(name for entry in read(VISIT, disk) for name in members_named(entry.event, "sound"))
        disk.unflushed = unflushed
        redact_clip(VISIT, name, SUPERVISOR, ENROLMENT, reason="a private word", clock=ToldClock(), files=disk)
        left = disk.after_power_cut(Loss()).files()
        assert (VISIT / "sound" / f"{name}.flac" not in left) == gone
        assert b"a private word" in left[VISIT / "endorsements.jsonl"]


def recorded_with_sound() -> FaultyDisk:
    visit = WholeVisit(FaultyDisk())
    visit.run()
    visit.disk.settle()
    return visit.disk


def _fails_without(place: str) -> bool:
    """Say whether some power cut does harm when that one flush is left out."""
    rng = random.Random(place)
    for number in sorted(EVERY_CALL, key=lambda _: rng.random()):
        visit = cut(number, [place])
        for loss in [*EVERY_SAME, *(Loss.seeded(rng, 512) for _ in range(6))]:
            again = restarted(visit, loss)
            try:
                assert_survived(again)
            except Exception:  # noqa: BLE001 - any harm will do
                return True
    return False


def _places() -> list[str]:
    disk = FaultyDisk()
    WholeVisit(disk).run()
    return sorted(disk.flushes)


@pytest.mark.parametrize("place", _places())
def test_each_flush_of_a_visit_is_needed(place: str) -> None:
    """Leaving out any one fsync lets some power cut lose what was acknowledged, or raise a false alarm."""
    assert _fails_without(place)


def test_a_reader_at_any_moment_sees_whole_batches_only() -> None:
    """Between any two calls of the writer a reader finds a sound record and no part of a batch."""
    disk, sizes = FaultyDisk(), set()

    def look(_number: int, _name: str) -> None:
        seen = disk.copy()
        if VISIT / "ledger.jsonl" in seen.files():
            entries = list(read(VISIT, seen))
            sizes.add(len(entries))
            assert not entries or entries[-1].to_come == 0

    disk.fault = look
    WholeVisit(disk).run()
    assert sizes == {1, 2, 4, 7, 8, 9, 11, 12}
