"""A disk that fails or refuses: each time one sentence, and never an entry that is not there."""

from __future__ import annotations

import errno

import pytest
from faulty_disk import FaultyDisk, failing_at
from visits import STATE, VISIT, begin, recorded, resume, tone

from handsfree.ledger import DeviceKey, read, verify
from handsfree.problem import Problem


def test_a_disk_that_gives_back_something_else_is_not_believed() -> None:
    """What was written is read again before it is said to be recorded."""
    disk = FaultyDisk()
    ledger = begin(disk)
    original = disk.read
    disk.read = lambda path: original(STATE / "device.key")  # type: ignore[method-assign]
    with pytest.raises(Problem, match="the disk failed"):
        ledger.append([("x", {})])


def test_a_disk_that_takes_nothing_is_a_failure() -> None:
    """A write that makes no progress is not tried for ever."""
    disk = FaultyDisk()
    ledger = begin(disk)
    disk.write = lambda *_: 0  # type: ignore[method-assign]
    with pytest.raises(Problem, match="the disk failed"):
        ledger.append([("x", {})])


@pytest.mark.parametrize(
    ("number", "sentence"),
    [
        (errno.EROFS, "the disk is read-only while beginning the record; choose a folder that can be written"),
        (errno.EACCES, "permission is refused while beginning the record; give yourself the right to it"),
        (errno.EDQUOT, "the disk quota is used up"),
        (errno.ENOTDIR, "a file stands where a folder is needed while beginning the record; name another folder"),
    ],
)
def test_a_disk_that_refuses_is_told_in_one_sentence(number: int, sentence: str) -> None:
    """Each common refusal has its own remedy."""
    disk = FaultyDisk()

    def fault(_call: int, name: str) -> None:
        if name == "make_folder":
            raise OSError(number, "refused")

    disk.fault = fault  # type: ignore[assignment]
    with pytest.raises(Problem, match=sentence):
        begin(disk)


def test_a_folder_that_may_not_be_read_is_told() -> None:
    """Wrong permissions are one clear sentence."""
    disk = recorded(3)

    def fault(_call: int, name: str) -> None:
        if name == "names":
            raise PermissionError(errno.EACCES, "refused")

    disk.fault = fault  # type: ignore[assignment]
    with pytest.raises(Problem, match="this folder may not be read"):
        verify(VISIT, files=disk)


def test_a_failing_disk_is_told_while_reading() -> None:
    """A reader, too, answers with a sentence."""
    disk = recorded(3)

    def fault(_call: int, name: str) -> None:
        if name == "read":
            raise OSError(errno.EIO, "broken")

    disk.fault = fault  # type: ignore[assignment]
    for attempt in (lambda: list(read(VISIT, disk)), lambda: verify(VISIT, files=disk), lambda: resume(disk)):
        with pytest.raises(Problem, match="the disk failed"):
            attempt()


def test_a_sound_that_cannot_be_kept_is_told() -> None:
    """A full disk while keeping a clip leaves the visit as it was."""
    disk = FaultyDisk()
    ledger = begin(disk)
    disk.fault = failing_at(disk.calls + 1, errno.ENOSPC)
    with pytest.raises(Problem, match="the disk is full while keeping a sound"):
        ledger.keep_sound(tone(1), 16_000)
    ledger.append([("heard", {})])
    assert ledger.head().count == 2


def test_a_device_key_on_a_failing_disk_is_told() -> None:
    """The state folder, too, answers with a sentence."""
    disk = FaultyDisk()
    disk.fault = failing_at(0, errno.EIO, sticky=True)
    with pytest.raises(Problem, match="while using the device key"):
        DeviceKey(STATE, disk).public_key()


def test_a_key_that_may_not_be_read_is_no_witness_and_a_failing_one_is_told() -> None:
    """A verifier without rights to the device's secrets does without them; a broken disk is an error."""
    disk = recorded(3)

    def refusing(number: int) -> None:
        def fault(_call: int, name: str) -> None:
            if name == "mode":
                raise OSError(number, "refused")

        disk.fault = fault  # type: ignore[assignment]

    refusing(errno.EACCES)
    assert "this device's own count" not in verify(VISIT, files=disk, state=STATE).checks
    refusing(errno.EIO)
    with pytest.raises(Problem, match="the disk failed"):
        verify(VISIT, files=disk, state=STATE)
    disk.fault = lambda _number, _name: None
    (path,) = [path for path in disk.files() if path.suffix == ".key" and path.parent != STATE]
    disk.put(path, b"rubbish")
    report = verify(VISIT, files=disk, state=STATE)
    assert report.ok
    assert any("this device's own count was not compared" in remark for remark in report.remarks)
