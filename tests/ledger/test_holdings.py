"""The clips and the sources beside the record; taking one clip out; handing a copy on."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from attacks import changed
from faulty_disk import FaultyDisk
from older_redactions import redact
from visits import STATE, VISIT, ToldClock, begin, tone

from handsfree.ledger import (
    CLOSED,
    FaultClass,
    Ledger,
    RecordVerdict,
    VerificationReport,
    export,
    read,
    verify,
)
from handsfree.ledger.holdings import Holdings
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import Problem


def with_clips() -> tuple[FaultyDisk, list[str]]:
    """A closed visit in which entries 1 and 3 each carry a clip."""
    disk = FaultyDisk()
    with begin(disk) as ledger:
        clips = []
        for number in range(2):
            clips.append(ledger.keep_sound(tone(number), 16_000))
            ledger.append([("heard", {"said": [{"sound": clips[-1]}]}), ("reading", {"value": "9.30"})])
        ledger.append([(CLOSED, {})])
    return disk, clips


def clip_file(name: str, folder: Path = VISIT) -> Path:
    return folder / "sound" / f"{name}.flac"


def test_a_clip_is_kept_whole_and_named_by_its_digest() -> None:
    """The samples come back bit for bit, and verification says that the sounds were checked."""
    disk, clips = with_clips()
    samples, rate = soundfile.read(io.BytesIO(disk.bytes_of(clip_file(clips[0]))), dtype="int16")
    assert rate == 16_000
    assert np.array_equal(samples, tone(0))
    assert "sounds" in verify(VISIT, files=disk).checks


@pytest.mark.parametrize("wrong", [np.zeros((4, 2), np.int16), np.zeros(4, np.float32)])
def test_sound_of_another_shape_is_a_mistake(wrong: np.ndarray) -> None:
    """Only one channel of 16-bit samples is kept: anything else would lose something unseen."""
    with pytest.raises(TypeError, match="one channel of 16-bit samples"):
        begin(FaultyDisk()).keep_sound(wrong, 16_000)


def test_a_missing_and_an_altered_clip_are_named_at_the_entry_that_carries_them() -> None:
    """The first bad entry is the one that names the clip."""
    disk, clips = with_clips()
    disk.put(clip_file(clips[1]), b"other sound")
    report = verify(VISIT, files=disk)
    assert (report.fault, report.first_bad, report.verdict) == (FaultClass.SOUND_ALTERED, 3, RecordVerdict.BROKEN)
    disk.unlink(clip_file(clips[0]))
    report = verify(VISIT, files=disk)
    assert (report.fault, report.first_bad) == (FaultClass.SOUND_MISSING, 1)
    assert "1 more finding" in report.sentence
    assert [finding.seq for finding in report.findings] == [1, 3]


def test_the_first_bad_entry_is_named_whichever_check_found_it() -> None:
    """A clip missing at entry 3 and a checksum that differs at entry 1: entry 1 comes first."""
    disk, clips = with_clips()
    disk.unlink(clip_file(clips[1]))
    report = verify(VISIT, files=disk, expected=(2, "000 000 000 000"))
    assert [(finding.seq, finding.fault) for finding in report.findings] == [
        (1, FaultClass.CHANGED),
        (3, FaultClass.SOUND_MISSING),
    ]


def test_a_missing_and_an_altered_source_are_named() -> None:
    """The procedure as run belongs to the record."""
    disk, _ = with_clips()
    disk.put(VISIT / "sources" / "procedure.yaml", b"other")
    report = verify(VISIT, files=disk)
    assert (report.fault, report.first_bad) == (FaultClass.SOURCE_ALTERED, 0)
    disk.unlink(VISIT / "sources" / "procedure.yaml")
    assert verify(VISIT, files=disk).fault == FaultClass.SOURCE_MISSING


def test_a_record_that_names_files_elsewhere_is_not_followed_there() -> None:
    """A hostile record cannot make the verifier read outside its folder."""
    disk = FaultyDisk()
    begin(disk).release()
    disk.put(Path("/secret"), b"x")
    holdings = Holdings(VisitFolder(VISIT), disk, {}, {})
    assert holdings._digest(VISIT, "../../secret") is None
    assert holdings._digest(VISIT, "ledger.jsonl") is not None


def test_foreign_files_are_named_and_left_alone() -> None:
    """Files that no entry names are no fault: they are said to be no part of the record."""
    disk, _ = with_clips()
    disk.put(VISIT / "holiday.jpg", b"x")
    disk.put(VISIT / "sound" / "hum.flac", b"x")
    report = verify(VISIT, files=disk)
    assert report.ok
    assert "these are no part of the record: holiday.jpg" in report.remarks
    assert "1 files in sound are named by no entry" in report.remarks


def redacted(disk: FaultyDisk, name: str) -> VerificationReport:
    redact(VISIT, name, by="T. Demo", reason="a private word", clock=ToldClock(), state=STATE, files=disk)
    return verify(VISIT, files=disk)


def test_a_redacted_clip_leaves_the_record_verifiable_and_says_who_and_why() -> None:
    """The chain holds, the clip is gone, and the report names who removed it, when and why."""
    disk, clips = with_clips()
    report = redacted(disk, clips[0])
    assert report.ok
    assert clip_file(clips[0]) not in disk.files()
    (remark,) = [remark for remark in report.remarks if "redacted" in remark]
    assert "the sound of entry 1 was redacted by T. Demo at 2026-" in remark
    assert "(a private word), on the device" in remark
    report = redacted(disk, clips[1])
    assert report.ok
    assert len(disk.bytes_of(VISIT / "redactions.jsonl").splitlines()) == 2


def test_a_redaction_begun_and_cut_short_is_seen_and_can_be_done_again() -> None:
    """A line without the deletion is told; redacting again completes it."""
    disk, clips = with_clips()
    kept = disk.bytes_of(clip_file(clips[0]))
    redacted(disk, clips[0])
    disk.put(clip_file(clips[0]), kept)
    assert any("is still there, though redacted" in remark for remark in verify(VISIT, files=disk).remarks)
    assert redacted(disk, clips[0]).ok


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"by": "Somebody Else"}, "its seal does not fit"),
        ({"visit": "0" * 64}, "it belongs to another visit"),
        ({"prev": "1" * 64}, "a line before it was changed or removed"),
    ],
)
def test_a_forged_redaction_does_not_excuse_a_missing_clip(change: dict[str, str], why: str) -> None:
    """Who deletes a clip cannot put another's name to it, nor carry a redaction over from elsewhere."""
    disk, clips = with_clips()
    redacted(disk, clips[1])
    line = disk.bytes_of(VISIT / "redactions.jsonl").removesuffix(b"\n")
    disk.put(VISIT / "redactions.jsonl", changed(line, lambda members: members.update(change)) + b"\n")
    report = verify(VISIT, files=disk)
    assert (report.fault, report.first_bad) == (FaultClass.REDACTION_FORGED, 3)
    assert why in report.sentence


@pytest.mark.parametrize("line", [b"{}", b"no", b"[]", b'{"sound":"x"}', b'{"sound":1,"device":{}}'])
def test_a_line_that_is_no_redaction_is_told(line: bytes) -> None:
    """Rubbish among the redactions excuses nothing and stops nothing."""
    disk, clips = with_clips()
    redacted(disk, clips[0])
    disk.put(VISIT / "redactions.jsonl", disk.bytes_of(VISIT / "redactions.jsonl") + line + b"\n")
    report = verify(VISIT, files=disk)
    assert report.ok
    assert "line 2 of redactions.jsonl is not a redaction" in report.remarks


def test_a_clip_deleted_without_a_word_is_missing() -> None:
    """Deleting the redactions brings the fault back."""
    disk, clips = with_clips()
    redacted(disk, clips[0])
    disk.unlink(VISIT / "redactions.jsonl")
    assert verify(VISIT, files=disk).fault == FaultClass.SOUND_MISSING


def test_a_redaction_needs_a_name_a_reason_and_a_clip_of_the_record() -> None:
    """Each refusal is one sentence, and nothing is deleted."""
    disk, clips = with_clips()
    for by, reason, clip, sentence in (
        (" ", "x", clips[0], "names who made it and why"),
        ("x", "", clips[0], "names who made it and why"),
        ("x", "x", "0" * 64, "no entry of this record names the clip"),
        ("x", "x", "9.30", "no entry of this record names the clip"),
    ):
        with pytest.raises(Problem, match=sentence):
            redact(VISIT, clip, by=by, reason=reason, state=STATE, files=disk)
    redacted(disk, clips[0])
    with pytest.raises(Problem, match="that clip is not there"):
        redact(VISIT, clips[0], by="x", reason="x", clock=ToldClock(), state=STATE, files=disk)
    disk.locks.add(STATE / "redaction.lock")
    with pytest.raises(Problem, match="while redacting"):
        redact(VISIT, clips[1], by="x", reason="x", clock=ToldClock(), state=STATE, files=disk)


def test_an_export_with_sound_is_the_record() -> None:
    """The copy verifies as the original does, to the digest."""
    disk, clips = with_clips()
    redacted(disk, clips[1])
    disk.put(VISIT / "signoff.jsonl", b"{}\n")
    disk.put(VISIT / "holiday.jpg", b"x")
    copied = export(VISIT, Path("/copies/one"), sound=True, files=disk)
    assert copied == 6  # two sources, one clip, redactions, signoff, ledger
    report, original = verify(Path("/copies/one"), files=disk), verify(VISIT, files=disk)
    assert report.ok
    assert report.head == original.head
    assert Path("/copies/one/holiday.jpg") not in disk.files()


def test_an_export_without_sound_verifies_and_says_what_it_leaves_out() -> None:
    """Clips that are left out are no tampering, and are not said to be checked."""
    disk, clips = with_clips()
    export(VISIT, Path("/copies/one"), sound=False, files=disk, state=STATE, clock=ToldClock())
    report = verify(Path("/copies/one"), files=disk)
    assert (report.ok, report.verdict) == (True, RecordVerdict.REDUCED)
    assert "sounds" not in report.checks
    assert "this copy was exported without sound: 2 clips were left out" in report.remarks
    export(Path("/copies/one"), Path("/copies/two"), sound=True, files=disk)
    assert "2 clips were left out" in " ".join(verify(Path("/copies/two"), files=disk).remarks)
    assert clip_file(clips[0]) in disk.files()


def test_an_export_overwrites_nothing() -> None:
    """The target is new or empty, and the source is a record."""
    disk, _ = with_clips()
    with pytest.raises(Problem, match="this folder is not empty; name a new one"):
        export(VISIT, VISIT, sound=True, files=disk)
    with pytest.raises(Problem, match="holds no ledger"):
        export(Path("/visits"), Path("/copies"), sound=True, files=disk)
    disk.fault = lambda _number, name: _fail() if name == "create" else None
    with pytest.raises(Problem, match="while exporting the record"):
        export(VISIT, Path("/copies"), sound=True, files=disk)


def _fail() -> None:
    raise OSError(5, "broken")


def test_a_record_made_on_a_real_disk_verifies_with_its_sound(tmp_path: Path) -> None:
    """The same on the machine's own files, with its own clocks."""
    folder, state = tmp_path / "visits" / "one", tmp_path / "state"
    with Ledger.create(folder, {"job": "made up"}, sources={"procedure.yaml": b"x"}, state=state) as ledger:
        clip = ledger.keep_sound(tone(1), 16_000)
        ledger.append([("heard", {"sound": clip}), (CLOSED, {})])
    assert verify(folder, state=state).ok
    export(folder, tmp_path / "copy", sound=False, state=state)
    redact(folder, clip, by="T. Demo", reason="a test", state=state)
    assert not clip_file(clip, folder).exists()
    assert verify(folder).ok
    assert verify(tmp_path / "copy").ok
    assert json.loads((tmp_path / "copy" / "export.json").read_text())["left_out"] == [clip]
    assert [entry.kind for entry in read(folder)] == ["visit-opened", "heard", CLOSED]
    assert (state / "device.key").stat().st_mode & 0o777 == 0o600
    assert state.stat().st_mode & 0o777 == 0o700
