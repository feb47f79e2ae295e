"""What people sign to a record: by their own key, chained, counted; what is missing, foreign, changed is told."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from lists import NAMED, OFFICE, STRANGER, SUPERVISOR, device_of, list_of
from small_visits import Ahead, visit

from handsfree.ledger import FaultClass, RecordVerdict, VerificationReport, export, verify
from handsfree.ledger.files import Disk
from handsfree.office.endorsements import kept_lines, merged, read_endorsements
from handsfree.office.endorsing import merge, prepare_sign_offs, redact_clip, supervisor
from handsfree.office.enrolling import add, revoke
from handsfree.office.enrolment import Enrolment, Role, read_enrolment
from handsfree.office.verification import endorsed, verify_anchored
from handsfree.problem import Problem


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two closed visits of an enrolled device, and the office's list."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    for name in ("one", "two"):
        visit(tmp_path / name, tmp_path / "tablet")
    list_of(tmp_path / "office.jsonl", [device_of(tmp_path / "one")])
    return tmp_path


def listed(here: Path) -> Enrolment:
    return read_enrolment(here / "office.jsonl")


def checked(folder: Path) -> VerificationReport:
    return verify_anchored(folder, listed(folder.parent))


def sign(
    *folders: Path, verdict: str = "accepted", remark: str = "", key: object = SUPERVISOR, ahead: int = 0
) -> None:
    enrolment = listed(folders[0].parent)
    who = supervisor(enrolment, SUPERVISOR.key)
    reports = [checked(folder) for folder in folders]
    prepared = prepare_sign_offs(reports, who, enrolment, verdict=verdict, remark=remark, clock=Ahead(ahead))
    prepared.signed(key)  # type: ignore[arg-type]


def standing(folder: Path, ahead: int = 0) -> str:
    found = endorsed(checked(folder), kept_lines(folder), listed(folder.parent), Ahead(ahead)).standing
    return found.remark if found else ""


def test_a_sign_off_verifies_by_the_standards_alone(here: Path) -> None:
    """RFC 8785 (rfc8785), RFC 9162 leaf hash (hashlib), RFC 8032 (cryptography): none of our code."""
    sign(here / "one", remark="heard through")
    (line,) = (here / "one" / "endorsements.jsonl").read_bytes().splitlines()
    members = json.loads(line)
    signature = members.pop("signature")
    root = hashlib.sha256(b"\x00" + rfc8785.dumps(members)).digest()
    assert (signature["root"], signature["path"]) == (root.hex(), [])
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(members["by"]["key"]))
    public.verify(bytes.fromhex(signature["seal"]), b"handsfree endorsements, RFC 9162 tree head\n" + root)
    last = (here / "one" / "ledger.jsonl").read_bytes().splitlines()[-1]
    assert members["digest"] == hashlib.sha256(last).hexdigest()
    assert (members["by"]["name"], members["number"], members["prev"]) == (NAMED, 0, [])


def test_a_batch_is_signed_once_and_each_visit_proves_its_own_part(here: Path) -> None:
    """One signature over the head of a tree; a line carried to the other visit does not hold there."""
    sign(here / "one", here / "two")
    one, two = ((here / name / "endorsements.jsonl").read_bytes() for name in ("one", "two"))
    first, second = (json.loads(line)["signature"] for line in (one, two))
    assert first["seal"] == second["seal"]
    assert (first["index"], second["index"], first["size"]) == (0, 1, 2)
    left, right = (
        hashlib.sha256(
            b"\x00" + rfc8785.dumps({k: v for k, v in json.loads(line).items() if k != "signature"})
        ).digest()
        for line in (one, two)
    )
    assert first["root"] == hashlib.sha256(b"\x01" + left + right).hexdigest()
    assert checked(here / "one").ok
    assert checked(here / "two").ok
    (here / "two" / "endorsements.jsonl").write_bytes(one)
    assert "it belongs to another visit" in checked(here / "two").sentence


def test_the_name_comes_from_the_list_and_a_later_verdict_stands(here: Path) -> None:
    sign(here / "one")
    sign(here / "one", verdict="to be redone", remark="clock the meter again")
    found = read_endorsements(kept_lines(here / "one"), checked(here / "one").identity or "", listed(here))
    assert [(each.name, each.verdict) for each in found.lines] == [(NAMED, "accepted"), (NAMED, "to be redone")]
    assert found.standing is not None
    assert found.standing.verdict == "to be redone"
    assert found.count == 2


def test_the_chain_says_which_verdict_stands_and_no_clock(here: Path) -> None:
    """A verdict signed on a machine whose clock was ahead stood over the one that followed it."""
    sign(here / "one", verdict="not accepted", remark="first", ahead=300_000)
    sign(here / "one", verdict="to be redone", remark="second")
    dates = [json.loads(line)["at"] for line in kept_lines(here / "one")]
    assert dates[0] > dates[1]
    assert standing(here / "one") == "second"


def test_a_date_decides_between_two_that_were_signed_apart(here: Path) -> None:
    (here / "apart").mkdir()
    copy = shutil.copytree(here / "one", here / "apart" / "one")
    shutil.copy(here / "office.jsonl", here / "apart")
    sign(here / "one", verdict="not accepted", remark="later", ahead=60_000)
    sign(copy, verdict="to be redone", remark="earlier")
    merge(here / "one", copy)
    assert standing(here / "one") == "later"


def test_a_line_dated_ahead_is_a_fault_and_never_stands_over_what_follows_it(here: Path) -> None:
    """Common practice, no source: ten minutes between two clocks are none. When its date comes it is overruled."""
    sign(here / "one", verdict="not accepted", remark="ahead", ahead=3_600_000)
    assert "and that has not come yet" in checked(here / "one").sentence
    assert standing(here / "one") == ""
    enrolment, who = listed(here), supervisor(listed(here), SUPERVISOR.key)
    report = verify_anchored(here / "one", enrolment, clock=Ahead(3_600_000))
    prepare_sign_offs([report], who, enrolment, verdict="to be redone", remark="now").signed(SUPERVISOR)
    assert standing(here / "one") == standing(here / "one", 7_200_000) == "now"


def other_name(line: bytes) -> bytes:
    return line.replace(NAMED.encode(), b"B. Supervisor")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            lambda lines: [other_name(lines[0]), lines[1]],
            "line 1 of endorsements.jsonl does not hold",
        ),
        (lambda lines: [lines[1]], "a line before it was changed or removed"),
        (lambda lines: [lines[1], lines[0]], "a line before it was changed or removed"),
        (lambda lines: [lines[0], lines[0], lines[1]], "it stands here twice"),
        (lambda lines: [b"{}", *lines], "line 1 of endorsements.jsonl is nothing that a person signed"),
        (lambda lines: [b"[" * 5000, *lines], "is nothing that a person signed"),
        (lambda lines: [lines[0].replace(b'"seal":"', b'"seal":"00', 1), lines[1]], "the signature does not fit"),
    ],
)
def test_a_line_changed_moved_added_or_removed_is_a_finding(here: Path, change, says: str) -> None:
    """The record itself is whole; what was done to what people signed is named with its line."""
    sign(here / "one")
    sign(here / "one", verdict="not accepted", remark="no meter")
    path = here / "one" / "endorsements.jsonl"
    path.write_bytes(b"".join(line + b"\n" for line in change(path.read_bytes().splitlines())))
    report = checked(here / "one")
    assert report.verdict == RecordVerdict.BROKEN
    assert {finding.fault for finding in report.findings} == {FaultClass.ENDORSEMENT}
    assert any(says in finding.why for finding in report.findings)


def test_a_key_that_nobody_enrolled_signs_nothing(here: Path) -> None:
    """Another machine's key under an enrolled name was no fault before."""
    with pytest.raises(Problem, match="another key signs"):
        sign(here / "one", key=STRANGER)
    with pytest.raises(Problem, match="is not enrolled"):
        supervisor(listed(here), STRANGER.key)
    with pytest.raises(Problem, match="no enrolment list here"):
        supervisor(None, SUPERVISOR.key)
    add(here / "office.jsonl", OFFICE, key=STRANGER.key, name="T. Example", role=Role.TECHNICIAN)
    with pytest.raises(Problem, match="not enrolled as supervisor"):
        supervisor(listed(here), STRANGER.key)
    elsewhere = here / "elsewhere"
    elsewhere.mkdir()
    shutil.copytree(here / "one", elsewhere / "one")
    list_of(elsewhere / "own.jsonl", [])
    forged = elsewhere / "office.jsonl"
    list_of(forged, [device_of(here / "one")])
    add(forged, OFFICE, key=STRANGER.key, name=NAMED + " ", role=Role.SUPERVISOR)
    enrolment = read_enrolment(forged)
    who = supervisor(enrolment, STRANGER.key)
    report = verify_anchored(elsewhere / "one", enrolment)
    prepare_sign_offs([report], who, enrolment, verdict="accepted", remark="").signed(STRANGER)
    (here / "one" / "endorsements.jsonl").write_bytes((elsewhere / "one" / "endorsements.jsonl").read_bytes())
    report = checked(here / "one")
    assert "the key that signed for supervisor A. Supervisor is that of technician T. Example" in report.sentence


def test_what_was_signed_before_a_revocation_stands_and_nothing_after_it(here: Path) -> None:
    sign(here / "one")
    revoke(here / "office.jsonl", OFFICE, key=SUPERVISOR.key, why="left")
    assert checked(here / "one").ok
    with pytest.raises(Problem, match="not enrolled as supervisor now"):
        sign(here / "two")
    revoke(here / "office.jsonl", OFFICE, key=SUPERVISOR.key, why="stolen", valid_until="2026-01-02T00:00:00.000Z")
    assert "was not enrolled as supervisor at" in checked(here / "one").sentence


def test_two_copies_signed_apart_are_merged_and_signed_on(here: Path) -> None:
    """Neither is lost; the next line follows both, so that neither can be taken out after it."""
    sign(here / "one")
    (here / "apart").mkdir()
    copy = shutil.copytree(here / "one", here / "apart" / "one")
    shutil.copy(here / "office.jsonl", here / "apart")
    sign(here / "one", verdict="not accepted", remark="here")
    sign(copy, verdict="to be redone", remark="there")
    assert merge(here / "one", copy) == 1
    assert merge(here / "one", copy) == 0
    assert checked(here / "one").ok
    lines = kept_lines(here / "one")
    assert len(lines) == 3
    sign(here / "one")
    assert len(json.loads(kept_lines(here / "one")[-1])["prev"]) == 2
    assert json.loads(kept_lines(here / "one")[-1])["number"] == 3
    for gone in range(3):
        kept = [line for number, line in enumerate(kept_lines(here / "one")) if number != gone]
        found = read_endorsements(kept, checked(here / "one").identity or "", listed(here))
        assert any("a line before it was changed or removed" in fault for fault in found.faults)
    assert merged(lines, lines) == lines


def test_remarks_names_and_counts_have_ends(here: Path) -> None:
    with pytest.raises(Problem, match="longer than 4000"):
        sign(here / "one", remark="x" * 4001)
    with pytest.raises(Problem, match="say in the remark"):
        sign(here / "one", verdict="not accepted")
    with pytest.raises(Problem, match="is no verdict"):
        sign(here / "one", verdict="fine")
    who = supervisor(listed(here), SUPERVISOR.key)
    with pytest.raises(Problem, match="1 to 500"):
        prepare_sign_offs([], who, None, verdict="accepted", remark="").signed(SUPERVISOR)
    assert not (here / "one" / "endorsements.jsonl").exists()
    (here / "one" / "endorsements.jsonl").write_bytes(b"x" * 70_000)
    with pytest.raises(Problem, match="longer, lines than people sign"):
        checked(here / "one")


def test_what_was_signed_in_the_meantime_is_not_overlooked(here: Path) -> None:
    enrolment, who = listed(here), supervisor(listed(here), SUPERVISOR.key)
    prepared = prepare_sign_offs([checked(here / "one")], who, enrolment, verdict="accepted", remark="")
    sign(here / "one", verdict="not accepted", remark="first")
    with pytest.raises(Problem, match="in the meantime"):
        prepared.signed(SUPERVISOR)
    assert len(kept_lines(here / "one")) == 1


def test_a_batch_signs_all_or_says_how_many(here: Path) -> None:
    """The first was signed, and nobody told, before the second was found to have changed."""
    enrolment, who = listed(here), supervisor(listed(here), SUPERVISOR.key)
    reports = [checked(here / name) for name in ("one", "two")]
    prepared = prepare_sign_offs(reports, who, enrolment, verdict="accepted", remark="")
    sign(here / "two", verdict="not accepted", remark="first")
    with pytest.raises(Problem, match="two: somebody has signed to this visit in the meantime; look"):
        prepared.signed(SUPERVISOR)
    assert kept_lines(here / "one") == []
    again = prepare_sign_offs(reports, who, enrolment, verdict="accepted", remark="")

    class Full(Disk):
        def create(self, path: Path, mode: int) -> int:
            if path.parent.name == "two":
                raise OSError(28, "No space left on device")
            return super().create(path, mode)

    with pytest.raises(Problem, match="1 of 2 visits were signed before it"):
        again.signed(SUPERVISOR, Full())
    assert [len(kept_lines(here / name)) for name in ("one", "two")] == [1, 1]
    with pytest.raises(Problem, match="stands here twice"):
        prepare_sign_offs([reports[0]] * 2, who, enrolment, verdict="accepted", remark="")


def test_only_a_whole_closed_record_with_somebody_who_vouches_is_accepted(here: Path) -> None:
    """A stranger's device is amber: not accepted, yet it can be refused."""
    enrolment, who = listed(here), supervisor(listed(here), SUPERVISOR.key)
    forged = verify_anchored(visit(here / "forged", here / "forger"), enrolment)
    with pytest.raises(Problem, match="nobody vouches for cannot be accepted: sealed by an unknown device"):
        prepare_sign_offs([forged], who, enrolment, verdict="accepted", remark="")
    prepare_sign_offs([forged], who, enrolment, verdict="not accepted", remark="whose?").signed(SUPERVISOR)
    ledger = here / "one" / "ledger.jsonl"
    ledger.write_bytes(b"".join(ledger.read_bytes().splitlines(keepends=True)[:-1]))
    with pytest.raises(Problem, match="only a closed record"):
        sign(here / "one")


def test_a_demo_and_a_record_held_against_no_list_are_not_accepted(here: Path) -> None:
    """Both were: a demo's anchor holds, since it claims nothing, and without an anchor nothing was asked."""
    enrolment, who = listed(here), supervisor(listed(here), SUPERVISOR.key)
    demo = verify_anchored(visit(here / "demo", here / "thrown-away", demo=True), enrolment)
    with pytest.raises(Problem, match="an invented visit cannot be accepted"):
        prepare_sign_offs([demo], who, enrolment, verdict="accepted", remark="")
    with pytest.raises(Problem, match="nobody vouches for cannot be accepted: it was held against no list"):
        prepare_sign_offs([verify(here / "one")], who, enrolment, verdict="accepted", remark="")
    prepare_sign_offs([demo], who, enrolment, verdict="not accepted", remark="a try").signed(SUPERVISOR)


def clip_of(folder: Path) -> Path:
    return next((folder / "sound").iterdir())


def test_a_redaction_by_a_supervisor_makes_the_record_reduced(here: Path) -> None:
    """The clip is gone, the chain holds, and it is said who did it, when and why."""
    redact_clip(here / "one", clip_of(here / "one").stem, SUPERVISOR, listed(here), reason="a private word")
    report = checked(here / "one")
    assert (report.verdict, report.ok) == (RecordVerdict.REDUCED, True)
    assert not list((here / "one" / "sound").iterdir())
    assert any(f"redacted by {NAMED} at 2" in remark and "(a private word)" in remark for remark in report.remarks)
    assert verify(here / "one").fault == FaultClass.SOUND_MISSING


def test_a_redaction_by_a_stranger_excuses_nothing(here: Path) -> None:
    with pytest.raises(Problem, match="is not enrolled"):
        redact_clip(here / "one", clip_of(here / "one").stem, STRANGER, listed(here), reason="x")
    elsewhere = here / "elsewhere"
    elsewhere.mkdir()
    add(list_of(elsewhere / "mine.jsonl", []), OFFICE, key=STRANGER.key, name="Me", role=Role.SUPERVISOR)
    clip = clip_of(here / "one").stem
    redact_clip(here / "one", clip, STRANGER, read_enrolment(elsewhere / "mine.jsonl"), reason="x")
    faults = {finding.fault for finding in checked(here / "one").findings}
    assert faults == {FaultClass.SOUND_MISSING, FaultClass.ENDORSEMENT}


@pytest.mark.parametrize(
    ("reason", "clip", "says"),
    [
        (" ", "", "says why"),
        ("x" * 4001, "", "says why"),
        ("x", "0" * 64, "no entry of this record names the clip"),
        ("x", "9.30", "no entry of this record names the clip"),
    ],
)
def test_a_redaction_needs_a_reason_and_a_clip_of_the_record(
    here: Path, reason: str, clip: str, says: str
) -> None:
    clip = clip or clip_of(here / "one").stem
    with pytest.raises(Problem, match=says):
        redact_clip(here / "one", clip, SUPERVISOR, listed(here), reason=reason)
    assert clip_of(here / "one").exists()


def test_a_copy_without_sound_carries_a_sealed_list(here: Path) -> None:
    """Reduced when an enrolled device sealed it; a finding when a stranger's did."""
    export(here / "one", here / "copy", sound=False, state=here / "tablet")
    report = checked(here / "copy")
    assert (report.verdict, report.ok) == (RecordVerdict.REDUCED, True)
    assert report.reduced == ("1 clips were left out of this copy",)
    export(here / "one", here / "strange", sound=False, state=here / "forger")
    assert "the list of what was left out was sealed by an unknown device" in checked(here / "strange").sentence
    export(here / "copy", here / "again", sound=True)
    assert checked(here / "again").verdict == RecordVerdict.REDUCED


@pytest.mark.parametrize("note", [b"", b"{}", b'{"left_out":["sound"]}\n', b"[" * 9000, b"null"])
def test_a_clip_deleted_and_an_export_note_added_is_found(here: Path, note: bytes) -> None:
    """It ended with exit code 0 before."""
    clip_of(here / "one").unlink()
    (here / "one" / "export.json").write_bytes(note)
    report = checked(here / "one")
    assert report.fault == FaultClass.SOUND_MISSING
    assert "export.json is not the sealed list of an export" in report.sentence


def test_a_sealed_list_for_another_state_of_the_record_excuses_nothing(here: Path) -> None:
    """An honest list of the visit when it was not closed yet, or had another end, stood for every later state."""
    ledger = here / "one" / "ledger.jsonl"
    whole = ledger.read_bytes()
    ledger.write_bytes(b"".join(whole.splitlines(keepends=True)[:-1]))
    export(here / "one", here / "copy", sound=False, state=here / "tablet")
    (here / "copy" / "ledger.jsonl").write_bytes(whole)
    report = checked(here / "copy")
    assert report.fault == FaultClass.SOUND_MISSING
    assert "the list of the export belongs to another state of the record" in report.sentence


def test_a_sealed_list_of_another_visit_or_changed_excuses_nothing(here: Path) -> None:
    export(here / "one", here / "copy", sound=False, state=here / "tablet")
    note = (here / "copy" / "export.json").read_bytes()
    clip_of(here / "two").unlink()
    (here / "two" / "export.json").write_bytes(note)
    assert "belongs to another visit" in checked(here / "two").sentence
    (here / "copy" / "export.json").write_bytes(note.replace(b'"at":"2', b'"at":"3'))
    assert "the seal of the list of the export does not fit" in checked(here / "copy").sentence
