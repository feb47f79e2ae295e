"""Signing to a record: a sign-off of one visit or of many at once, and the redaction of a clip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.ledger import Clock, SystemClock, VerificationReport, members_named, read, state_folder
from handsfree.ledger.clock import stamp
from handsfree.ledger.entry import canonical
from handsfree.ledger.files import Disk, Files, disk_problem, ensure_folder, put
from handsfree.ledger.kinds import SOUND_REDACTED, is_digest
from handsfree.ledger.visit import VisitFolder
from handsfree.office.endorsements import (
    LONGEST_REMARK,
    SIGNED_OFF,
    VERDICTS,
    kept_lines,
    merged,
    read_endorsements,
    unsigned,
    written,
)
from handsfree.office.enrolment import EnrolledKey, Enrolment, Role
from handsfree.office.signatures import Signer, challenge_of, signatures
from handsfree.problem import ExitCode, Problem


@dataclass(frozen=True)
class Prepared:
    """Statements that wait for one signature, each with its visit's folder and what was signed there `before`."""

    folders: tuple[Path, ...]
    statements: tuple[dict[str, Any], ...]
    who: EnrolledKey
    before: tuple[tuple[bytes, ...], ...]

    @property
    def challenge(self) -> bytes:
        """What is to be signed: 32 bytes."""
        return challenge_of([canonical(each) for each in self.statements])

    def signed(self, signer: Signer, files: Files | None = None) -> None:
        """Sign all statements at once and add each to its visit.

        Raises Problem when somebody else signs than they were prepared for, when something was signed to one of
        the visits in the meantime (then none is signed), or the disk fails (then it says how many were signed).
        """
        if signer.key != self.who.key:
            raise Problem("another key signs than the one it was prepared for", remedy="begin again")
        signed = signatures([canonical(each) for each in self.statements], signer)
        lines = [
            canonical({**statement, "signature": signature})
            for statement, signature in zip(self.statements, signed, strict=True)
        ]
        _append(files or Disk(), self.folders, lines, self.before)


def supervisor(enrolment: Enrolment | None, key: str, clock: Clock | None = None) -> EnrolledKey:
    """Return who may sign with a key now; Problem when the list names nobody, or not as a supervisor."""
    if enrolment is None:
        raise Problem(
            "there is no enrolment list here, so nobody is known to sign",
            remedy="take the office's over: handsfree enrol import FILE",
        )
    found = enrolment.find(key)
    if found is None:
        raise Problem(f"the key {key} is not enrolled", where=enrolment.where,
                      remedy=f"ask the office to enrol it: handsfree enrol add supervisor NAME {key}")  # fmt: skip
    now = stamp((clock or SystemClock()).now().wall)
    if found.role is not Role.SUPERVISOR or not found.valid_at(now):
        raise Problem(
            f"{found.name} is not enrolled as supervisor now, so cannot sign",
            where=enrolment.where,
            remedy="ask the office",
        )
    return found


def not_acceptable(report: VerificationReport) -> str:
    """Return why a whole record cannot be accepted by anybody, and what to do; empty when it can."""
    if report.demo:
        return "an invented visit cannot be accepted: it shows nothing of any appliance"
    if report.anchor is None or not report.anchor.holds:
        says = report.anchor.says if report.anchor else "it was held against no list"
        remedy = "enrol the device first: handsfree enrol add device NAME KEY"
        return f"a record that nobody vouches for cannot be accepted: {says}; {remedy}"
    return ""


def prepare_sign_offs(
    reports: Sequence[VerificationReport],
    who: EnrolledKey,
    enrolment: Enrolment | None,
    *,
    verdict: str,
    remark: str,
    clock: Clock | None = None,
) -> Prepared:
    """Return the sign-offs of records that were just verified, ready to be signed all at once.

    Raises Problem when a record is not closed and whole, when one that is to be accepted is a demo or nobody
    vouches for it, when the verdict is none of ours, or a verdict other than acceptance gives no remark.
    """
    if verdict not in VERDICTS:
        raise Problem(f"{verdict!r} is no verdict", remedy=f"choose one of: {', '.join(VERDICTS)}")
    if verdict != "accepted" and not remark.strip():
        raise Problem("say in the remark what is to be done", where=verdict)
    if len(remark) > LONGEST_REMARK:
        raise Problem(f"the remark is longer than {LONGEST_REMARK} characters", remedy="shorten it")
    if len({report.folder.resolve() for report in reports}) < len(reports):
        raise Problem("a visit stands here twice", remedy="look at the list again")
    at = stamp((clock or SystemClock()).now().wall)
    statements, before = [], []
    for report in reports:
        where = str(report.folder)
        if not report.whole or report.head is None or report.identity is None:
            raise Problem("only a closed record that is whole can be signed off", where=where)
        if verdict == "accepted" and (why := not_acceptable(report)):
            raise Problem(why, where=where)
        says = {
            "count": report.head.count,
            "digest": report.head.digest,
            "kind": SIGNED_OFF,
            "remark": remark.strip(),
            "verdict": verdict,
        }
        lines = tuple(kept_lines(report.folder))
        standing = read_endorsements(lines, report.identity, enrolment)
        statements.append(unsigned(report.identity, standing, who, at, says))
        before.append(lines)
    return Prepared(tuple(report.folder for report in reports), tuple(statements), who, tuple(before))


def redact_clip(
    folder: Path,
    sound: str,
    signer: Signer,
    enrolment: Enrolment | None,
    *,
    reason: str,
    clock: Clock | None = None,
    files: Files | None = None,
) -> str:
    """Delete one clip for good, signed by a supervisor; return what to say of it. The record is not touched.

    Raises Problem when no reason is given, no entry names that clip, it is not there, or the disk fails. A crash
    leaves the clip, or the redaction, or both: doing it again completes it.
    """
    files, visit, who = files or Disk(), VisitFolder(folder), supervisor(enrolment, signer.key, clock)
    if not reason.strip() or len(reason) > LONGEST_REMARK:
        raise Problem(f"a redaction says why, in 1 to {LONGEST_REMARK} characters", where=str(folder))
    identity, named = "", False
    for entry in read(folder, files):
        identity = identity or entry.digest
        named = named or sound in members_named(entry.event, "sound")
    if not (named and is_digest(sound)):
        raise Problem(f"no entry of this record names the clip {sound}", where=str(folder))
    at = stamp((clock or SystemClock()).now().wall)
    says = {"kind": SOUND_REDACTED, "reason": reason.strip(), "sound": sound}
    try:
        if visit.clip(sound).name not in files.names(visit.sound):
            raise Problem("that clip is not there", where=str(visit.sound))
        lines = tuple(kept_lines(folder, files))
        statement = unsigned(identity, read_endorsements(lines, identity, enrolment), who, at, says)
        Prepared((folder,), (statement,), who, (lines,)).signed(signer, files)
        files.unlink(visit.clip(sound))
        files.fsync_folder(visit.sound)
    except OSError as error:
        raise disk_problem(error, "redacting", folder) from error
    return f"redacted by {who.name} at {at} ({reason.strip()})"


def merge(here: Path, there: Path) -> int:
    """Take lines over that only the copy of a visit elsewhere has; return how many.

    The caller has checked that they hold.
    """
    mine = kept_lines(here)
    both = merged(mine, kept_lines(there))
    if len(both) > len(mine):
        _put(Disk(), here, both)
    return len(both) - len(mine)


def _append(
    files: Files, folders: Sequence[Path], lines: Sequence[bytes], seen: Sequence[tuple[bytes, ...]]
) -> None:
    """Add a line to each visit, when what was signed to every one of them is still what was `seen`."""
    state = state_folder()
    try:
        ensure_folder(files, state, 0o700)
        release = files.lock(state / "endorsing.lock", 10)
    except OSError as error:
        raise disk_problem(error, "signing", state) from error
    try:
        for folder, before in zip(folders, seen, strict=True):
            _must_still_be(files, folder, before)
        _put_each(files, folders, [[*before, line] for before, line in zip(seen, lines, strict=True)])
    finally:
        release()


def _must_still_be(files: Files, folder: Path, before: tuple[bytes, ...]) -> None:
    if tuple(kept_lines(folder, files)) != before:
        raise Problem(
            "somebody has signed to this visit in the meantime",
            where=str(folder),
            remedy="look at it again",
            code=ExitCode.FAILED,
        )


def _put_each(files: Files, folders: Sequence[Path], contents: Sequence[Sequence[bytes]]) -> None:
    for done, (folder, lines) in enumerate(zip(folders, contents, strict=True)):
        try:
            _put(files, folder, lines)
        except Problem as problem:
            told = f"; {done} of {len(folders)} visits were signed before it" if len(folders) > 1 else ""
            what = problem.what + told
            raise Problem(what, where=problem.where, remedy=problem.remedy, code=problem.code) from problem


def _put(files: Files, folder: Path, lines: Sequence[bytes]) -> None:
    path = VisitFolder(folder).endorsements
    try:
        put(files, path, written(lines))
    except OSError as error:
        raise disk_problem(error, "signing", path) from error
