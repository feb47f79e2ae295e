"""Writing a record: what may be appended, by whom, and what is refused."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path

import pytest
from attacks import LEDGER, lines_of
from faulty_disk import FaultyDisk
from visits import SOURCES, STATE, VISIT, ToldClock, begin, recorded, resume, tone

from handsfree.ledger import (
    CLOCK_JUMPED,
    CLOSED,
    OPENED,
    RESUMED,
    Ledger,
    RecordVerdict,
    batches,
    head,
    read,
    verify,
)
from handsfree.problem import ExitCode, Problem


def test_a_batch_is_appended_together_and_read_together() -> None:
    """An input and what it caused share a batch, which a reader gets as one."""
    disk = FaultyDisk()
    with begin(disk) as ledger:
        entries = ledger.append([("heard", {"words": ["stop"]}), ("stopped", {}), ("spoken", {"text": "stopped"})])
        assert [entry.to_come for entry in entries] == [2, 1, 0]
        assert [[entry.kind for entry in batch] for batch in batches(VISIT, disk)] == [
            [OPENED],
            ["heard", "stopped", "spoken"],
        ]
        assert ledger.head() == head(VISIT, disk)
        assert ledger.folder == VISIT


def test_the_first_entry_names_the_sources_by_their_digests_and_the_device() -> None:
    """The procedure and the sheets as run are kept and bound to the record."""
    disk = FaultyDisk()
    begin(disk, job="made up").release()
    (opening,) = read(VISIT, disk)
    assert opening.event["job"] == "made up"
    assert set(opening.event["sources"]) == set(SOURCES)
    assert disk.bytes_of(VISIT / "sources" / "procedure.yaml") == SOURCES["procedure.yaml"]
    assert opening.device is not None
    assert opening.device.leads_to_key()


def test_what_is_no_batch_is_refused_and_nothing_is_written() -> None:
    """Empty batches, nameless kinds, the ledger's own kinds and a close before the end are mistakes."""
    disk = FaultyDisk()
    ledger = begin(disk)
    for wrong in (
        [],
        [("", {})],
        [(OPENED, {})],
        [(RESUMED, {})],
        [(CLOCK_JUMPED, {})],
        [(CLOSED, {}), ("x", {})],
    ):
        with pytest.raises(ValueError, match="is not a batch"):
            ledger.append(wrong)
    with pytest.raises(TypeError, match="write decimals as strings"):
        ledger.append([("reading", {"value": "9.30"}), ("reading", {"value": 9.3})])
    assert head(VISIT, disk).count == 1
    ledger.append([("reading", {"value": "9.30"})])
    assert head(VISIT, disk).count == 2


def test_a_closed_record_takes_nothing_more() -> None:
    """After the close appending, sounds and reopening are refused."""
    disk = recorded(4)
    with pytest.raises(Problem, match="this record is closed; begin a new visit"):
        resume(disk)
    ledger = begin(disk, folder=VISIT.with_name("second"))
    ledger.append([(CLOSED, {})])
    for forbidden in (lambda: ledger.append([("x", {})]), lambda: ledger.keep_sound(None, 16_000)):  # type: ignore[arg-type]
        with pytest.raises(Problem, match="this record is closed"):
            forbidden()


def test_a_ledger_given_back_refuses_to_write() -> None:
    """Who has released the visit is no longer its writer."""
    ledger = begin(FaultyDisk())
    ledger.release()
    with pytest.raises(Problem, match="given back; open it again"):
        ledger.append([("x", {})])


def test_there_is_one_writer() -> None:
    """A second program that opens the visit is told so; a reader is not in the way."""
    disk = FaultyDisk()
    ledger = begin(disk)
    with pytest.raises(Problem, match="another program is writing this visit") as problem:
        resume(disk)
    assert problem.value.code == ExitCode.FAILED
    assert verify(VISIT, files=disk).verdict == RecordVerdict.OPEN
    ledger.release()
    resume(disk).release()


def test_a_folder_that_holds_anything_is_not_written_to(tmp_path: Path) -> None:
    """Nothing of the person's is overwritten."""
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "letter.txt").write_text("dear")
    with pytest.raises(Problem, match="not empty; name a new folder"):
        Ledger.create(folder, {}, state=tmp_path / "state")
    assert [path.name for path in folder.iterdir()] == ["letter.txt"]


@pytest.mark.parametrize("name", ["../escape", "a/b", "", ".", "..", "x.part"])
def test_a_source_has_a_plain_name(name: str) -> None:
    """A source cannot be written outside its folder."""
    disk = FaultyDisk()
    with pytest.raises(ValueError, match="not a plain file name"):
        Ledger.create(VISIT, {}, sources={name: b""}, clock=ToldClock(), state=STATE, files=disk)


def test_a_visit_is_continued_only_where_it_began() -> None:
    """Without the sealing key of the device that began it, a record can be read but not continued."""
    disk = FaultyDisk()
    begin(disk).release()
    with pytest.raises(Problem, match="this device holds no sealing key for this visit; it can be read"):
        Ledger.open(VISIT, clock=ToldClock(), state=Path("/elsewhere"), files=disk)


def test_a_moved_folder_is_still_continued() -> None:
    """The key is found by what the record is, not by where it lies."""
    disk = FaultyDisk()
    begin(disk).release()
    disk.rename(VISIT, "renamed")
    with resume(disk, folder=VISIT.with_name("renamed")) as ledger:
        assert [entry.kind for (entry,) in ledger.batches()] == [OPENED, RESUMED]


def test_a_damaged_record_is_not_continued_and_not_touched() -> None:
    """What was acknowledged here and is missing, changed or exchanged stops the opening with one sentence."""
    whole = recorded(8, closed=False)
    lines = lines_of(whole)
    other = lines_of(recorded(8, closed=False))
    damages = {
        b"": "damaged at entry 0",
        b"".join(line + b"\n" for line in lines[:4]): "8 entries were recorded here, 4 are left",
        b"".join(line + b"\n" for line in [*lines[:4], *lines[5:]]): "damaged at entry 4",
        b"".join(line + b"\n" for line in [lines[0], *other[1:]]): "damaged at entry 1",
    }
    for data, sentence in damages.items():
        disk = whole.copy()
        disk.put(LEDGER, data)
        with pytest.raises(Problem, match=sentence):
            resume(disk)
        assert disk.bytes_of(LEDGER) == data
        assert not disk.locks


def test_a_key_that_does_not_fit_the_record_is_told() -> None:
    """A key file exchanged for another's cannot seal what the record expects."""
    disk = recorded(8, closed=False)
    (path,) = [path for path in disk.files() if path.suffix == ".key" and path.parent != STATE]
    slot = disk.bytes_of(path)
    value = json.loads(slot[65 : slot.index(b"\n")])
    for wrong, sentence in (
        ({"secret": "00" * 32}, "the key kept on this device is not the one"),
        ({"head": "0" * 64}, "damaged at entry 7: it is not what this device recorded"),
    ):
        _rewrite(disk, path, value | wrong)
        with pytest.raises(Problem, match=sentence):
            resume(disk)


def _rewrite(disk: FaultyDisk, path: Path, value: dict[str, object]) -> None:
    text = json.dumps(value, sort_keys=True)
    slot = f"{hashlib.sha256(text.encode()).hexdigest()} {text}\n".encode().ljust(4096, b"\0")
    disk.put(path, slot * 2)


def test_a_key_that_others_can_read_is_refused() -> None:
    """Wrong permissions on a key are told with what to do."""
    disk = recorded(4, closed=False)
    (path,) = [path for path in disk.files() if path.suffix == ".key" and path.parent != STATE]
    disk.nodes[disk._find(path)].mode = 0o644
    with pytest.raises(Problem, match="others than its owner may read this key; give it owner-only permission"):
        resume(disk)


def test_a_damaged_key_is_told() -> None:
    """When neither slot of the key file is whole, no next entry can be sealed."""
    disk = recorded(4, closed=False)
    (path,) = [path for path in disk.files() if path.suffix == ".key" and path.parent != STATE]
    disk.put(path, b"\0" * 8192)
    with pytest.raises(Problem, match="the key in this file is damaged; start a new visit"):
        resume(disk)


def test_a_torn_end_is_set_aside_and_never_deleted() -> None:
    """The bytes that a crash left lie in a file that the next entry names, also after a second crash."""
    disk, clock = FaultyDisk(), ToldClock()
    begin(disk, clock).release()
    torn = b'{"at":"2026-12-2'
    disk.put(LEDGER, disk.bytes_of(LEDGER) + torn)
    with resume(disk, clock) as ledger:
        assert ledger.head().count == 2
    aside = list(read(VISIT, disk))[-1].event["set_aside"]
    assert [disk.bytes_of(VISIT / "set-aside" / each["file"]) for each in aside] == [torn]
    resume(disk, clock).release()
    assert list(read(VISIT, disk))[-1].event["set_aside"] == []
    remarks = verify(VISIT, files=disk).remarks
    assert "an unfinished write of 16 bytes before entry 1 was set aside" in remarks
    disk.put(VISIT / "set-aside" / aside[0]["file"], b"other")
    assert (
        "an unfinished write of 16 bytes before entry 1 was altered afterwards"
        in verify(VISIT, files=disk).remarks
    )
    disk.unlink(VISIT / "set-aside" / aside[0]["file"])
    assert "an unfinished write of 16 bytes before entry 1 is gone" in verify(VISIT, files=disk).remarks


@pytest.mark.parametrize(
    ("folder", "sentence"),
    [
        ("missing", "there is no such folder"),
        ("file", "this is a file, not the folder of a visit"),
        ("empty", "this is not the folder of a visit: it holds no ledger.jsonl"),
    ],
)
def test_a_folder_that_is_no_visit_is_told(tmp_path: Path, folder: str, sentence: str) -> None:
    """Reading, verifying and opening all say what is wrong with the folder."""
    (tmp_path / "file").write_text("")
    (tmp_path / "empty").mkdir()
    for attempt in (verify, lambda path: list(read(path)), Ledger.open):
        with pytest.raises(Problem, match=sentence):
            attempt(tmp_path / folder)


def test_a_record_of_a_newer_format_is_told_and_left_alone() -> None:
    """A newer program's record is neither continued nor called damaged."""
    disk = recorded(3)
    data = (
        disk.bytes_of(LEDGER).replace(b'"format":1', b'"format":7').replace(b'"kind"', b'"invention":1,"kind"', 1)
    )
    disk.put(LEDGER, data)
    for attempt in (lambda: verify(VISIT, files=disk), lambda: resume(disk), lambda: head(VISIT, disk)):
        with pytest.raises(Problem, match="the record is of format 7"):
            attempt()
    assert disk.bytes_of(LEDGER) == data


def test_an_empty_record_fails_since_nothing_can_be_checked() -> None:
    """An empty set of checks is no proof of anything."""
    disk = recorded(3)
    disk.put(LEDGER, b"")
    report = verify(VISIT, files=disk)
    assert not report.ok
    assert report.checks == ()
    assert "no whole entry is there" in report.sentence
    assert report.as_json()["checksum"] is None
    with pytest.raises(Problem, match="nothing was recorded here"):
        head(VISIT, disk)


def test_a_reader_stops_at_damage_after_what_is_sound() -> None:
    """Reading gives the entries before the damage, then says where it is."""
    disk = recorded(9)
    lines = lines_of(disk)
    disk.put(LEDGER, b"".join(line + b"\n" for line in [*lines[:4], *lines[5:]]))
    entries = read(VISIT, disk)
    assert [next(entries).seq for _ in range(4)] == [0, 1, 2, 3]
    with pytest.raises(Problem, match="the record is damaged at entry 4: entry 4 is missing; verify it"):
        next(entries)


def test_the_real_disk_is_flushed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each flush of the ledger reaches the operating system: the record, both slots of the key, the folders."""
    flushed: list[str] = []
    real = os.fsync

    def recording(handle: int) -> None:
        flushed.append(Path(f"/proc/self/fd/{handle}").readlink().name)
        real(handle)

    monkeypatch.setattr(os, "fsync", recording)
    ledger = Ledger.create(tmp_path / "one", {}, sources={"p.yaml": b"x"}, state=tmp_path / "state")
    assert {"one", "sources", "p.yaml.part", "ledger.jsonl.part", "state", "visits"} <= set(flushed)
    flushed.clear()
    ledger.append([("heard", {})])
    key = f"{ledger.opening.digest}.key"
    assert flushed == ["ledger.jsonl", key, key]
    flushed.clear()
    clip = ledger.keep_sound(tone(1), 16_000)
    assert flushed == [f"{clip}.flac.part", "sound"]
    ledger.release()


def test_one_lock_on_a_real_disk(tmp_path: Path) -> None:
    """The lock of the operating system keeps a second writer out, and is free again afterwards."""
    folder, state = tmp_path / "one", tmp_path / "state"
    with Ledger.create(folder, {}, state=state), pytest.raises(Problem, match="another program is writing"):
        Ledger.open(folder, state=state)
    Ledger.open(folder, state=state).release()


def test_the_openings_own_members_are_not_overwritten() -> None:
    """What the ledger puts into the first entry cannot be given by the session."""
    with pytest.raises(ValueError, match="'utc_offset'"):
        begin(FaultyDisk(), utc_offset=60)
