"""Writing the record of a visit: what was appended is on the disk before anybody is told so."""

from __future__ import annotations

import contextlib
import errno
import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from handsfree.ledger.chain import Link
from handsfree.ledger.clock import JUMP, Clock, Moment, SystemClock
from handsfree.ledger.device import DeviceKey, state_folder
from handsfree.ledger.entry import NOTHING_BEFORE, Entry, sealed
from handsfree.ledger.files import PART, Disk, Files, disk_problem, ensure_folder, put, write_whole
from handsfree.ledger.head import Head
from handsfree.ledger.kinds import CLOCK_JUMPED, CLOSED, OPENED, OWN_MEMBERS, RESUMED
from handsfree.ledger.personal import Committed, committed
from handsfree.ledger.ratchet import Secret
from handsfree.ledger.reading import batches
from handsfree.ledger.recovery import opening_of, recover
from handsfree.ledger.sealing import Kept, SealingKey
from handsfree.ledger.visit import VisitFolder, is_plain_name
from handsfree.problem import ExitCode, Problem

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_RESERVED = frozenset({OPENED, RESUMED, CLOCK_JUMPED})


class Ledger:
    """The one writer of a visit's record; make it with `create` or `open`, and `release` it at the end."""

    def __init__(
        self,
        visit: VisitFolder,
        files: Files,
        clock: Clock,
        *,
        key: SealingKey,
        release: Callable[[], None],
        opening: Entry,
    ) -> None:
        self._visit, self._files, self._clock = visit, files, clock
        self._key, self._release = key, release
        self._link, self._secret = Link(), Secret(b"")
        self._size = 0
        self._utc_offset = 0
        self._stopped: Problem | None = None
        self.opening = opening
        """The first entry; its digest names the visit."""

    @classmethod
    def create(
        cls,
        folder: Path,
        opening: Mapping[str, Any],
        *,
        sources: Mapping[str, bytes] | None = None,
        personal: Sequence[Committed] = (),
        clock: Clock | None = None,
        state: Path | None = None,
        files: Files | None = None,
        device: DeviceKey | None = None,
        demo: bool = False,
    ) -> Ledger:
        """Begin the record of a visit in a new or empty folder; `opening` is the event of its first entry.

        `demo` says in the first entry that the visit is invented.

        `sources` are the files that the visit runs on; they are kept in the folder, and their SHA-256 stand
        in the first entry as the member `sources`. `personal` is what that entry commits to.

        Raises Problem when the folder holds anything or the disk fails; then no visit has begun.
        """
        files, clock, state = files or Disk(), clock or SystemClock(), state or state_folder()
        visit = VisitFolder(folder)
        if taken := OWN_MEMBERS & opening.keys():
            raise ValueError(f"{sorted(taken)} in the opening are the ledger's own")
        try:
            _make_empty(files, visit)
            named = {name: _keep_source(files, visit, name, data) for name, data in (sources or {}).items()}
            for one in personal:
                _keep_personal(files, visit, one)
            proof, signer = (device or DeviceKey(state, files)).use_next()
            secret, moment = Secret.fresh(), clock.now()
            entry = sealed(
                seq=0,
                kind=OPENED,
                event={
                    **opening,
                    "sources": named,
                    "utc_offset": moment.utc_offset,
                    **({"demo": True} if demo else {}),
                },
                moment=moment,
                prev=NOTHING_BEFORE,
                to_come=0,
                next_key=secret.public(),
                signer=signer,
                device=proof,
            )
            _, link = Link().follow(entry.line)
            key = SealingKey(files, state, entry.digest)
            ledger = cls(visit, files, clock, key=key, release=key.hold(), opening=entry)
            try:
                key.create(Kept(Head(1, entry.digest), secret))
                put(files, visit.ledger, entry.line + b"\n")
            except BaseException:
                ledger.release()
                raise
        except OSError as error:
            raise disk_problem(error, "beginning the record", folder) from error
        ledger._link = link
        ledger._secret, ledger._size, ledger._utc_offset = secret, len(entry.line) + 1, moment.utc_offset
        return ledger

    @classmethod
    def open(
        cls,
        folder: Path,
        *,
        clock: Clock | None = None,
        state: Path | None = None,
        files: Files | None = None,
    ) -> Ledger:
        """Continue the record of an interrupted visit, on the device that began it.

        What a crash left unfinished is moved to the folder `set-aside`; then an entry of kind
        `visit-resumed` is appended. Raises Problem when there is no record to continue, another writer
        has it, it is closed, damaged, or of another device, or the disk fails; nothing is lost then. Read
        what there is with `batches`.
        """
        files, clock, state = files or Disk(), clock or SystemClock(), state or state_folder()
        visit = VisitFolder(folder)
        try:
            visit.must_hold_record(files)
            opening = opening_of(files, visit)
            key = SealingKey(files, state, opening.digest)
            ledger = cls(visit, files, clock, key=key, release=key.hold(), opening=opening)
            try:
                ledger._resume()
            except BaseException:
                ledger.release()
                raise
        except OSError as error:
            raise disk_problem(error, "opening the record", folder) from error
        return ledger

    @property
    def folder(self) -> Path:
        """The visit's folder."""
        return self._visit.folder

    def batches(self) -> Iterator[tuple[Entry, ...]]:
        """Yield what is recorded so far, batch by batch, from the disk; raises as reading does."""
        return batches(self.folder, self._files)

    def head(self) -> Head:
        """Return the count of entries and what to read to the office."""
        return Head(self._link.seq, self._link.prev)

    def append(self, events: Sequence[tuple[str, Mapping[str, Any]]]) -> tuple[Entry, ...]:
        """Record events (kind, event) as one batch; when this returns they are on the disk, sealed.

        A crash before that leaves the whole batch or, on resuming, none of it. A jump of the wall clock
        is recorded first, in an entry of its own that is not returned. An event of kind `visit-closed` ends
        the record. Raises Problem when the disk fails: then nothing more can be appended until the visit is
        opened again. Floats raise TypeError and other values that JSON cannot hold exactly ValueError;
        none of the events is written then.
        """
        if self._stopped is not None:
            raise self._stopped
        kinds = [kind for kind, _ in events]
        if not all(kinds) or not kinds or _RESERVED & set(kinds) or CLOSED in kinds[:-1]:
            raise ValueError(f"{kinds} is not a batch: openings, resumings and clock jumps are the ledger's own")
        moment = self._clock.now()
        if (jump := self._jump(moment)) is not None:
            self._write([(CLOCK_JUMPED, jump)], moment)
        return self._write(events, moment)

    def keep_sound(self, samples: NDArray[np.int16], rate: int) -> str:
        """Keep one channel of 16-bit samples as FLAC; return its name, 64 hex digits, for an event to carry.

        When this returns the clip is on the disk. In an event the name stands as a member called `sound`.
        Raises Problem when the disk fails.
        """
        from handsfree.ledger.sound import flac  # noqa: PLC0415 - slow to load, and a typed visit needs none

        if self._stopped is not None:
            raise self._stopped
        data = flac(samples, rate)
        name = hashlib.sha256(data).hexdigest()
        try:
            put(self._files, self._visit.clip(name), data)
        except OSError as error:
            raise disk_problem(error, "keeping a sound", self._visit.sound) from error
        return name

    def keep_personal(self, payload: bytes) -> str:
        """Keep a person's data beside the record; return the commitment, for an event to carry as `commitment`.

        When this returns the file is on the disk. Raises Problem when the disk fails.
        """
        if self._stopped is not None:
            raise self._stopped
        one = committed(payload)
        try:
            _keep_personal(self._files, self._visit, one)
        except OSError as error:
            raise disk_problem(error, "keeping personal data", self._visit.personal) from error
        return one.commitment

    def release(self) -> None:
        """Let another writer have the visit; the record stays open unless it was closed."""
        self._stopped = Problem("this record was given back", where=str(self.folder), remedy="open it again")
        self._release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()

    def _resume(self) -> None:
        found = recover(self._files, self._visit, self._key)
        self._link, self._secret, self._size = found.link, found.secret, found.size
        moment = self._clock.now()
        self._write([(RESUMED, {"set_aside": list(found.set_aside), "utc_offset": moment.utc_offset})], moment)
        self._utc_offset = moment.utc_offset

    def _jump(self, moment: Moment) -> dict[str, int] | None:
        """Return the event of a clock that was set, or of a steady clock that was not steady, or None."""
        by = moment.wall - moment.mono - self._link.drift
        before, self._utc_offset = self._utc_offset, moment.utc_offset
        steady = moment.boot == self._link.boot and moment.mono >= self._link.mono
        if steady and abs(by) <= JUMP and before == moment.utc_offset:
            return None
        return {"by": by, "utc_offset": moment.utc_offset, "utc_offset_before": before}

    def _write(self, events: Sequence[tuple[str, Mapping[str, Any]]], moment: Moment) -> tuple[Entry, ...]:
        link, secret, entries = self._link, self._secret, []
        for to_come, (kind, event) in zip(range(len(events) - 1, -1, -1), events, strict=True):
            following = secret.following()
            entry = sealed(
                seq=link.seq,
                kind=kind,
                event=event,
                moment=moment,
                prev=link.prev,
                to_come=to_come,
                next_key=following.public(),
                signer=secret.signer(),
            )
            _, link = link.follow(entry.line)  # what would not verify must never be said to be recorded
            secret = following
            entries.append(entry)
        self._make_durable(b"".join(entry.line + b"\n" for entry in entries), link, secret)
        return tuple(entries)

    def _make_durable(self, data: bytes, link: Link, secret: Secret) -> None:
        """Put the lines on the disk, then forget the key that sealed them: the order on which all rests."""
        path = self._visit.ledger
        self._stopped = Problem(
            "an earlier write failed", where=str(path), remedy="resume the visit", code=ExitCode.FAILED
        )
        try:
            handle = self._files.open(path)
            try:
                write_whole(self._files, handle, data, self._size)
                self._files.fsync(handle)
            finally:
                self._files.close(handle)
            with self._files.read(path) as stream:
                stream.seek(self._size)
                if stream.read() != data:
                    raise OSError(errno.EIO, "the disk gave back something else")  # noqa: TRY301 - one way out
            self._key.write(Kept(Head(link.seq, link.prev), None if link.closed else secret))
        except OSError as error:
            self._stopped = disk_problem(error, "recording", path)
            raise self._stopped from error
        self._link, self._secret, self._size = link, secret, self._size + len(data)
        self._stopped = Problem("this record is closed", where=str(self.folder)) if link.closed else None


def _make_empty(files: Files, visit: VisitFolder) -> None:
    """Make the folders of a new visit; Problem when there is something already."""
    ensure_folder(files, visit.folder, 0o755)
    if files.names(visit.folder):
        raise Problem(
            "this folder is not empty", where=str(visit.folder), remedy="name a new folder for the visit"
        )
    for folder in (visit.sound, visit.sources):
        ensure_folder(files, folder, 0o755)


def _keep_source(files: Files, visit: VisitFolder, name: str, data: bytes) -> str:
    """Keep a source under its name and return the SHA-256 of its bytes."""
    if not is_plain_name(name) or name.endswith(PART):
        raise ValueError(f"{name!r} is not a plain file name")
    put(files, visit.sources / name, data)
    return hashlib.sha256(data).hexdigest()


def _keep_personal(files: Files, visit: VisitFolder, one: Committed) -> None:
    ensure_folder(files, visit.personal, 0o700)
    file = visit.personal_file(one.commitment)
    try:
        put(files, file, one.file, 0o600)
    except OSError:
        with contextlib.suppress(OSError):  # a full disk gets its room back: the record goes on without this
            files.unlink(file.with_name(file.name + PART))
        raise
