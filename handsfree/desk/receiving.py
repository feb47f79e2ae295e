"""Taking visits in from a stick or a share: verified on arrival, nothing overwritten, told what became of each.

Whoever filled the stick may be careless or hostile: only plain files are copied, and a limited process verifies
them. A visit is known by its first entry; it is the same visit when its ledger is the same, byte for byte.
"""

from __future__ import annotations

import contextlib
import hashlib
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from handsfree.desk.examination import verified
from handsfree.desk.fuller_copy import fill_up, left_behind
from handsfree.ledger import RecordVerdict, VerificationReport, export
from handsfree.ledger.chain import LONGEST_LINE
from handsfree.ledger.files import Disk, disk_problem, ensure_folder
from handsfree.ledger.visit import visits_beneath
from handsfree.office.endorsements import kept_lines, merged
from handsfree.office.endorsing import merge
from handsfree.office.verification import endorsed, known_enrolment
from handsfree.problem import ExitCode, Problem
from handsfree.regular_files import open_regular
from handsfree.sandbox import Sandbox

ARRIVING = ".arriving-"
LOCK = ".arriving.lock"
"""Held while one visit is taken in: a stick's and the network's do not come between each other."""

LONGEST_S = 300.0
"""One visit may take so long to verify on a slow machine."""

LONGEST_NAME = 100


class Fate(StrEnum):
    """What became of one visit."""

    TAKEN = "taken in"
    DUPLICATE = "already here"
    SIGNED = "already here; what was signed to it was taken in"
    FULLER = "already here; sounds that it lacked were taken in"
    DIFFERENT = "taken in beside another record of the same visit"
    FAULTY = "taken in, but it does not verify"
    REFUSED = "not taken in"


@dataclass(frozen=True)
class Arrival:
    """One visit: where it came from, what became of it, where it lies now, and what verification said."""

    source: Path
    fate: Fate
    folder: Path | None
    sentence: str
    ledger: str = ""
    """SHA-256 of its record's file, where it was taken in."""
    report: VerificationReport | None = None


@dataclass(frozen=True)
class _Known:
    """A record by its bytes: the digest of its first line, which names the visit, and of its whole ledger."""

    identity: str
    ledger: str


class Intake:
    """A folder of visits that takes further ones in, one by one; a `with` block ends its process."""

    def __init__(
        self, target: Path, *, longest_s: float = LONGEST_S, work: Callable[[Any], Any] = verified
    ) -> None:
        """Read which visits are there. One visit may take `longest_s` to verify.

        `work` verifies the folder it is given, and may do more for who has other things to give it (`do`).
        """
        target.mkdir(parents=True, exist_ok=True)
        self._target, self._longest_s = target, longest_s
        self._sandbox: Sandbox[Any, Any] = Sandbox("receiving", work, seconds=longest_s)
        self._here: dict[str, list[Path]] = {}
        """Which folders begin with an entry; the rest of a record is read only when another begins likewise."""
        self._seen: set[Path] = set()
        self._folders: dict[Path, int] = {}
        """The folders that hold visits, and when something was last laid into them or taken out (ns)."""
        self._look()

    def _look(self) -> None:
        """Find visits that somebody else took in since, such as a stick's while the office takes in its own."""
        if self._folders and all(_changed_at(folder) == at for folder, at in self._folders.items()):
            return
        self._folders = {self._target: _changed_at(self._target)}
        for folder in visits_beneath(self._target):
            above = folder.parent
            while above not in self._folders and above.is_relative_to(self._target):
                self._folders[above], above = _changed_at(above), above.parent
            if folder not in self._seen and (identity := _identity(folder)):
                self._seen.add(folder)
                self._here.setdefault(identity, []).append(folder)

    def holds(self, identity: str, ledger: str) -> bool:
        """Say whether this very record of a visit is still there."""
        return any(known == _Known(identity, ledger) for _, known in self._beside(identity))

    def _beside(self, identity: str) -> list[tuple[Path, _Known]]:
        """Return the records of a visit that are here and can be read."""
        found = []
        for place in self._here.get(identity, []):
            with contextlib.suppress(Problem):
                found.append((place, _known(place)))
        return found

    def do(self, given: Any, *, where: str) -> Any:
        """Let the limited process do a piece of its work."""
        return self._sandbox.do(given, where=where)

    def take(self, folder: Path, office: str = "") -> Arrival:
        """Take a visit in, into an office's folder where one is named, unless it is here already.

        Raises Problem when it cannot be read, copied or verified, or another program is at it.
        """
        try:
            release = Disk().lock(self._target / LOCK, self._longest_s)
        except (OSError, TimeoutError) as error:
            raise Problem("another program takes visits in here", where=str(self._target), remedy="try again",
                          code=ExitCode.FAILED) from error  # fmt: skip
        try:
            self._look()
            return self._take(folder, office)
        finally:
            release()

    def _take(self, folder: Path, office: str) -> Arrival:
        known = _known(folder)
        others = self._beside(known.identity)
        for place, other in others:
            if other == known:
                return _again(folder, place, known, self._sandbox)
        into = self._target / office
        place = _free(into, folder.name)
        arriving = self._target / f"{ARRIVING}{place.name}"
        if arriving.exists():
            shutil.rmtree(arriving)
        try:
            export(folder, arriving, sound=True)
            _must_be(known, arriving, folder)
            report = self._sandbox.do(arriving, where=str(folder))
        except Problem:
            shutil.rmtree(arriving, ignore_errors=True)
            raise
        ensure_folder(Disk(), into, 0o755)
        arriving.rename(place)
        Disk().fsync_folder(into)
        Disk().fsync_folder(self._target)
        self._seen.add(place)
        self._here.setdefault(known.identity, []).append(place)
        fate = _fate(report, known=bool(others))
        return Arrival(folder, fate, place, report.sentence, known.ledger, report)

    def close(self) -> None:
        """End the process that verifies; the next visit starts another."""
        self._sandbox.close()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process that verifies."""
        self.close()


def receive(source: Path, target: Path, *, longest_s: float = LONGEST_S) -> Iterator[Arrival]:
    """Take in every visit beneath `source`, one by one; run again after a cut, it goes on with the next.

    Raises Problem when there is no such source, or the target lies in it.
    """
    if not source.is_dir():
        raise Problem("there is no such folder", where=str(source))
    if target.resolve().is_relative_to(source.resolve()) or source.resolve().is_relative_to(target.resolve()):
        raise Problem("visits are taken in from another folder", where=str(target), remedy="name one outside")
    with Intake(target, longest_s=longest_s) as intake:
        for folder in visits_beneath(source):
            try:
                yield intake.take(folder)
            except Problem as problem:
                yield Arrival(folder, Fate.REFUSED, None, problem.sentence())


def _must_be(known: _Known, arriving: Path, folder: Path) -> None:
    if _known(arriving) != known:
        raise Problem("the copy is not what was read: the stick or the share fails", where=str(folder))


def _again(folder: Path, place: Path, known: _Known, sandbox: Sandbox[Path, VerificationReport]) -> Arrival:
    """Take a visit that is here already: what people signed to the other copy, and holds, is taken over."""
    report = sandbox.do(place, where=str(place))
    there, here = kept_lines(folder), kept_lines(place)
    both = endorsed(report, merged(here, there), known_enrolment())
    if both.faults:
        raise Problem(
            f"what was signed to it does not hold: {both.faults[0]}",
            where=str(folder),
            remedy=f"compare {place}",
            code=ExitCode.FAILED,
        )
    fate = Fate.DUPLICATE
    if set(there) - set(here):
        merge(place, folder)
        fate = Fate.SIGNED
    if fill_up(place, folder, known.identity, {*both.redacted(), *both.erased()}):
        report = sandbox.do(place, where=str(place))
        fate = Fate.FULLER if fate is Fate.DUPLICATE else fate
    sentence = f"{report.sentence}{left_behind(folder, place)}"
    return Arrival(folder, fate, place, sentence, known.ledger, report)


def _fate(report: VerificationReport, *, known: bool) -> Fate:
    if report.verdict == RecordVerdict.BROKEN:
        return Fate.FAULTY
    return Fate.DIFFERENT if known else Fate.TAKEN


def _free(target: Path, name: str) -> Path:
    """Return a free place for a visit, under its own name as far as that is a plain one."""
    plain = "".join(letter if letter.isprintable() else "-" for letter in name).lstrip(".")[:LONGEST_NAME]
    place, number = target / (plain or "visit"), 2
    while place.exists():
        place = target / f"{plain or 'visit'}-{number}"
        number += 1
    return place


def _changed_at(folder: Path) -> int:
    """Return when something was last laid into a folder or taken out (ns); 0 where it is gone."""
    try:
        return folder.stat().st_mtime_ns
    except OSError:
        return 0


def _identity(folder: Path) -> str:
    """Return the digest of a record's first entry; empty where it cannot be read."""
    try:
        with open_regular(folder / "ledger.jsonl") as stream:
            return hashlib.sha256(stream.readline(LONGEST_LINE).removesuffix(b"\n")).hexdigest()
    except OSError:
        return ""


def _known(folder: Path) -> _Known:
    """Return what a record is known by; Problem when it cannot be read."""
    ledger = folder / "ledger.jsonl"
    try:
        with open_regular(ledger) as stream:
            first = stream.readline(LONGEST_LINE).removesuffix(b"\n")
            stream.seek(0)
            return _Known(hashlib.sha256(first).hexdigest(), hashlib.file_digest(stream, "sha256").hexdigest())
    except OSError as error:
        raise disk_problem(error, "reading the record", ledger) from error
