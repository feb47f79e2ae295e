"""A record held against what the office knows: who vouches for the key that sealed it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from handsfree.ledger import (
    Anchor,
    AnchorState,
    Clock,
    Entry,
    FaultClass,
    Replay,
    SystemClock,
    VerificationReport,
    state_folder,
    verify,
)
from handsfree.ledger.chain import LONGEST_LINE
from handsfree.ledger.diagnosis import RecordFinding
from handsfree.ledger.entry import digest_of
from handsfree.ledger.report import also_found
from handsfree.ledger.visit import VisitFolder
from handsfree.office.carried import not_earlier
from handsfree.office.endorsements import Endorsements, kept_lines, read_endorsements
from handsfree.office.enrolment import NAME, EnrolledKey, Enrolment, Role, read_enrolment
from handsfree.problem import Problem
from handsfree.regular_files import open_regular


def known_enrolment(given: Path | None = None) -> Enrolment | None:
    """Return the list that was given, else this machine's own copy, else None; Problem when it does not hold."""
    if given is not None:
        return read_enrolment(given)
    here = state_folder() / NAME
    return read_enrolment(here) if here.exists() else None


def list_digest(given: Path | None = None) -> str:
    """Return what changes when the list does: the digest of its last line; empty where there is none."""
    try:
        found = known_enrolment(given)
    except Problem as problem:
        return problem.what
    return "" if found is None else found.head.digest


def verify_anchored(
    folder: Path,
    enrolment: Enrolment | None,
    *,
    device_key: str | None = None,
    expected: tuple[int, str] | None = None,
    state: Path | None = None,
    replay: Replay | None = None,
    clock: Clock | None = None,
    walked: list[Entry] | None = None,
) -> VerificationReport:
    """Check a record as `ledger.verify` does, and say who vouches for the key that sealed it.

    A date in the future, and a visit that a revoked device began after its revocation, are faults.
    """
    now = (clock or SystemClock()).now().wall
    lines = kept_lines(folder)
    said = read_endorsements(lines, _identity(folder), enrolment, now=now)
    report = verify(
        folder,
        device_key=device_key,
        expected=expected,
        state=state,
        replay=replay,
        now=now,
        walked=walked,
        redacted={clip: f"{each.name} at {each.at} ({each.remark})" for clip, each in said.redacted().items()},
        erased=said.erased(),
    )
    signed = endorsed(report, lines, enrolment, clock)
    seq = report.head.count if report.head else 0
    report = also_found(report, [RecordFinding(seq, FaultClass.ENDORSEMENT, fault) for fault in signed.faults])
    report = _with_checkpoint(_with_time_stamp(report))
    return anchored(report, enrolment, key_given=device_key is not None)


def _with_time_stamp(report: VerificationReport) -> VerificationReport:
    """Return the report with a remark on the time stamp beside the record, where there is one."""
    if report.head is None or report.last_at is None or not VisitFolder(report.folder).timestamp.exists():
        return report
    from handsfree.office.timestamps import time_stamp_of  # noqa: PLC0415 - loads a native library

    found = time_stamp_of(report.folder, report.head.digest, report.last_at)
    return report if found is None else replace(report, remarks=(*report.remarks, found.sentence))


def _with_checkpoint(report: VerificationReport) -> VerificationReport:
    """Return the report with what the checkpoint shows that the visit took along from the office's log."""
    remark, fault = not_earlier(report)
    found = replace(report, remarks=(*report.remarks, remark)) if remark else report
    return also_found(found, [RecordFinding(0, FaultClass.BEFORE_CHECKPOINT, fault)] if fault else [])


def endorsed(
    report: VerificationReport, lines: Sequence[bytes], enrolment: Enrolment | None, clock: Clock | None = None
) -> Endorsements:
    """Return what lines say that people signed to the record of a report, until now."""
    head = report.head.digest if report.head and report.whole else None
    now = (clock or SystemClock()).now().wall
    return read_endorsements(lines, report.identity or "", enrolment, head=head, now=now)


def _identity(folder: Path) -> str:
    """Return the digest of the first line of the record, whatever it holds; empty where there is none."""
    try:
        with open_regular(folder / "ledger.jsonl") as stream:
            return digest_of(stream.readline(LONGEST_LINE).removesuffix(b"\n"))
    except OSError:
        return ""


def anchored(
    report: VerificationReport, enrolment: Enrolment | None, *, key_given: bool = False
) -> VerificationReport:
    """Return the report with its anchor; a device that was revoked before it began the visit is a finding."""
    found = enrolment.find(report.device, Role.DEVICE) if enrolment and report.device else None
    opened = report.opened_at or ""
    if found and found.valid_until and opened >= found.valid_until and not report.demo:
        why = f"the device {found.name} was revoked from {found.valid_until} on ({found.why})"
        report = also_found(report, [RecordFinding(0, FaultClass.REVOKED_DEVICE, why)])
    if not report.demo:
        report = also_found(report, _strange_sealers(report, enrolment, key_given=key_given))
    return replace(report, anchor=_anchor(report, enrolment, found, key_given=key_given))


def _strange_sealers(
    report: VerificationReport, enrolment: Enrolment | None, *, key_given: bool
) -> list[RecordFinding]:
    """Return a finding for each thing beside the record that a device sealed which nobody knows."""
    if enrolment is None and not key_given:
        return []  # then nobody vouches for the record either
    known = enrolment.keys if enrolment else {report.device or "": None}
    return [
        RecordFinding(0, FaultClass.REDACTION_FORGED, f"{what} was sealed by an unknown device, {device}")
        for what, device in report.sealers
        if device not in known
    ]


def _anchor(
    report: VerificationReport, enrolment: Enrolment | None, found: EnrolledKey | None, *, key_given: bool
) -> Anchor:
    """Return who vouches; `found` is the device on the list."""
    if report.demo:
        says = "DEMO: an invented visit, sealed by a throw-away key; it shows nothing of any appliance"
        return Anchor(AnchorState.DEMO, says)
    if key_given and not any(finding.fault == FaultClass.FOREIGN_DEVICE for finding in report.findings):
        return Anchor(AnchorState.KEY_GIVEN, "the seals lead to the device key given")
    if found is None or enrolment is None:
        return Anchor(AnchorState.UNANCHORED, _why_nobody(report, enrolment))
    if (report.opened_at or "") < found.valid_from:
        since = f"the device {found.name} is enrolled from {found.valid_from} on"
        return Anchor(AnchorState.UNANCHORED, f"{since}, and the visit says {report.opened_at}")
    if enrolment.own:
        says = f"the device {found.name} stands on this machine's own list, for which nobody else vouches"
        return Anchor(AnchorState.OWN_LIST, says)
    return Anchor(AnchorState.ENROLLED, f"the device {found.name} is enrolled by {enrolment.office}")


def _why_nobody(report: VerificationReport, enrolment: Enrolment | None) -> str:
    if report.device is None:
        return "no entry is there that a key sealed"
    if enrolment is None:
        return f"no enrolment list was given; the seals lead to {report.device}"
    return f"sealed by an unknown device, {report.device}"
