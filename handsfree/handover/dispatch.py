"""What an office sends to its devices by itself, laid into the outbox beside the desk's other errands.

Two things start it. A visit that was returned brings its question to the device that recorded it. And what the
office saves in one folder goes to whom the folder says:

    FOLDER/all/procedures/…        to every device: bundles; likewise `appliances`, and `questions`
    FOLDER/TABLET/jobs/….yaml      to the device of that name on the list: its next jobs

A job sheet takes along the appliance sheet that it names and the last visits of its serial. Everything goes once:
a file is sent again when its content has changed.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from handsfree.desk.earlier_records import alike
from handsfree.desk.index import Index
from handsfree.documents import read_document
from handsfree.handover.outbox import Consignment, Outbox
from handsfree.handover.outbox_visits import question_about, without_sound
from handsfree.ledger.clock import Clock, SystemClock, stamp
from handsfree.ledger.files import PART, Disk, contents, disk_problem, ensure_folder, put
from handsfree.ledger.visit import is_plain_name
from handsfree.office.endorsements import kept_lines, read_endorsements
from handsfree.office.enrolment import EnrolledKey, Role
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem, one_line
from handsfree.regular_files import open_regular
from handsfree.store.kept import VisitRow

EVERYBODY = "all"
LAST_VISITS = 2
"""Of one serial, the newest: common practice, no source."""
AT_ONCE = 200
_BEING_WRITTEN = frozenset({PART, ".answers", ".new"})
"""How files end that are not whole yet: also an interview's answers, beside the sheet that they will make."""
_RETURNED = "returned"


class Dispatch:
    """The office's sending; `state` keeps how far the news of the visits was read."""

    def __init__(
        self, index: Index, outbox: Outbox, state: Path, folder: Path | None = None, clock: Clock | None = None
    ) -> None:
        """`folder` is where the office saves what is to go; nothing but questions goes without it."""
        self.illness = ""
        """What could not be sent, and why; empty when all was."""
        self._index, self._outbox, self._folder = index, outbox, folder
        self._kept, self._clock = state / "dispatched.json", clock or SystemClock()
        self._laid: set[tuple[str, Path, int, int]] = set()
        """Device, file, its size and time: what this process has laid ready already is not read again."""

    def look(self) -> None:
        """Lay ready whatever is new."""
        listed, now = known_enrolment(self._index.enrolment), stamp(self._clock.now().wall)
        devices = [each for each in listed.of(Role.DEVICE) if each.valid_at(now)] if listed else []
        faults = [*self._questions({each.key for each in devices})]
        for device in devices if self._folder else ():
            faults += self._of_folder(device)
        self.illness = one_line("; ".join(faults))

    def _questions(self, devices: set[str]) -> Iterator[str]:
        """Ask about each visit that was returned since the last look; yield what failed."""
        store = self._index.store
        mark, newest = store.news()
        last = self._read(mark)
        while last < newest and (rows := store.news_after(last, AT_ONCE)):
            for row in rows:
                if row.signed == _RETURNED and row.device in devices:
                    try:
                        self._ask(row)
                    except Problem as problem:
                        yield problem.sentence()
            last = max(row.news for row in rows)
            self._keep(mark, last)

    def _ask(self, row: VisitRow) -> None:
        folder = self._index.root / row.path
        listed = known_enrolment(self._index.enrolment)
        standing = read_endorsements(kept_lines(folder), row.identity, listed).standing
        if standing is not None and standing.verdict == _RETURNED:
            _, data = question_about(folder, " ".join(standing.remark.split()), at=standing.at)
            self._outbox.put_new(row.device, Consignment.QUESTION, f"{standing.digest[:16]}.json", data)

    def _of_folder(self, device: EnrolledKey) -> Iterator[str]:
        """Lay ready what the folder has for a device; yield what failed."""
        assert self._folder is not None
        for whose in (EVERYBODY, device.name):
            for kind in Consignment if is_plain_name(whose) else ():
                for file in _files(self._folder / whose / kind.value):
                    try:
                        state = file.stat()
                        known = (device.key, file, state.st_size, state.st_mtime_ns)
                        if known not in self._laid:
                            self._lay(device, kind, file)
                            self._laid.add(known)
                    except OSError as error:
                        yield f"{file}: it cannot be read ({error.strerror})"
                    except Problem as problem:
                        yield problem.sentence()

    def _lay(self, device: EnrolledKey, kind: Consignment, file: Path) -> None:
        """Lay a file ready, and with a job sheet the last visits of its serial."""
        serial = _serial_of(file) if kind is Consignment.JOB else ""
        with open_regular(file) as stream:
            self._outbox.put_new(device.key, kind, file.name, stream.read())
        if not serial:
            return
        office = self._index.within(device.offices)
        rows, _ = office.store.of_appliance(serial)
        for row in rows[-LAST_VISITS:]:
            name = f"{Path(row.path).name}-{row.key[:8]}.tar"
            if alike(row.serial, serial) and not self._outbox.knows(device.key, Consignment.VISIT, name):
                self._outbox.put(
                    device.key, Consignment.VISIT, name, without_sound(self._index.root / row.path)[1]
                )

    def _read(self, mark: str) -> int:
        try:
            kept = json.loads(contents(Disk(), self._kept))
            return int(kept["news"]) if kept["mark"] == mark else 0
        except (OSError, ValueError, TypeError, KeyError):
            return 0  # all is looked at again; nothing goes twice

    def _keep(self, mark: str, last: int) -> None:
        try:
            ensure_folder(Disk(), self._kept.parent, 0o700)
            put(Disk(), self._kept, json.dumps({"mark": mark, "news": last}).encode())
        except OSError as error:
            raise disk_problem(error, "noting what was sent", self._kept) from error


def _serial_of(file: Path) -> str:
    """Return the serial that a job sheet names; empty for the appliance sheet beside it. Problem for no sheet."""
    told = read_document(file).content
    return str(told.get("serial", "")) if isinstance(told, dict) and "job" in told else ""


def _files(folder: Path) -> list[Path]:
    """Return the files of a folder in order, but hidden ones and those still being written."""
    if not folder.is_dir():
        return []
    files = (path for path in folder.iterdir() if path.is_file() and path.suffix not in _BEING_WRITTEN)
    return sorted(path for path in files if not path.name.startswith("."))
