"""Tomorrow's jobs, prepared at the office: job sheets for a device, and the maker's data that they name.

A job sheet that is whole is laid where the dispatch finds it, with the maker's data it names. Maker's data is a
draft until two people have held it against the manual and signed; only then does it go to every device.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from handsfree.bundles.sheet_check import check_file, read_signed
from handsfree.bundles.version import least_after, numbers
from handsfree.desk.drafts import Drafts, SheetDraft
from handsfree.desk.earlier_records import EarlierRecords
from handsfree.desk.index import Index
from handsfree.desk.known_before import KnownBefore
from handsfree.desk.sheet_form import FilledForm
from handsfree.documents import read_document
from handsfree.ledger import SystemClock
from handsfree.ledger.clock import stamp
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.ledger.visit import is_plain_name
from handsfree.office.enrolment import Role
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheet_making import (
    FIRST_VERSION,
    NO_VISIT,
    NewApplianceSheet,
    NewJobSheet,
    VisitNeeds,
    needs_of,
    written,
)
from handsfree.procedure.sheets import model_of, read_appliance_sheet
from handsfree.procedure.trades import trade_data_asked
from handsfree.shipped import procedure_path, shipped_procedures
from handsfree.trades import DEFAULT_TRADE
from handsfree.visit.sheet_standing import sheet_standing

EVERYBODY, APPLIANCES, JOBS = "all", "appliances", "jobs"
NEWEST = 2
"""Earlier visits of a serial that are looked at for what they know."""


@dataclass(frozen=True)
class LedVisit:
    """A visit that a sheet can be for."""

    name: str
    title: str
    trade: str


@dataclass(frozen=True)
class MakersData:
    """A sheet of maker's data at the office, and what it counts for."""

    file: Path
    appliance: str
    trade: str
    version: str
    standing: str
    """Who has checked it, or why it may not be used, in a sentence."""
    is_checked: bool
    may_be_used: bool
    is_sent: bool
    """Whether this very text goes to every device."""


class Preparing:
    """What is prepared in the office's outgoing folder, for the devices of some offices."""

    def __init__(self, index: Index, outgoing: Path, offices: Callable[[], Collection[str] | None]) -> None:
        """`offices` are those of whoever prepares, all where None."""
        self._index, self._outgoing, self._offices = index, outgoing, offices
        self.drafts = Drafts(outgoing)
        self._known: tuple[tuple[str, ...], KnownBefore] | None = None

    def devices(self) -> list[str]:
        """Return the names of the devices that jobs can be prepared for."""
        listed, now = known_enrolment(self._index.enrolment), stamp(SystemClock().now().wall)
        seen = self._offices()
        valid = [one for one in listed.of(Role.DEVICE) if one.valid_at(now)] if listed else []
        mine = [one for one in valid if seen is None or set(one.offices or ("",)) & set(seen)]
        return sorted({one.name for one in mine if is_plain_name(one.name) and one.name != EVERYBODY})

    def laid_ready(self, device: str) -> list[str]:
        """Return the files that lie ready for a device."""
        folder = self._outgoing / device / JOBS
        return sorted(file.name for file in folder.glob("*.yaml")) if folder.is_dir() else []

    def makers(self) -> Iterator[MakersData]:
        """Yield the maker's data that goes to every device, then what was written here and does not go yet."""
        sent = {file.name: contents(Disk(), file) for file in _sheets(self._of_all)}
        for name in sent:
            yield self._standing(self._of_all / name, is_sent=True)
        for file in _sheets(self.written):
            if sent.get(file.name) != contents(Disk(), file):
                yield self._standing(file, is_sent=False)

    @property
    def written(self) -> Path:
        """The folder of maker's data that was written here."""
        return self.drafts.folder / APPLIANCES

    @property
    def _of_all(self) -> Path:
        return self._outgoing / EVERYBODY / APPLIANCES

    def _standing(self, file: Path, *, is_sent: bool) -> MakersData:
        try:
            document = read_document(file)
            data = read_appliance_sheet(document)
            told = (data.appliance, data.trade, data.version or "")
        except Problem as problem:
            return MakersData(file, file.stem, "", "", problem.sentence(), False, False, is_sent)
        try:
            content = document.text.encode()
            check, _ = sheet_standing(file, content, data.version, self._index.enrolment)
        except Problem as problem:
            return MakersData(file, *told, problem.what, False, False, is_sent)
        says = "; ".join((check.sentence, *check.faults))
        return MakersData(file, *told, says, check.holds, is_sent, is_sent)

    def begin_job(self, device: str, visit: str, appliance: str) -> str:
        """Begin a job sheet, and return the draft's name; Problem where one of the three cannot be."""
        if device not in self.devices():
            raise Problem(
                f"{device!r} is no device that you can prepare jobs for", remedy="choose one of the list"
            )
        data = next((one for one in self.makers() if one.file.name == appliance and one.may_be_used), None)
        if data is None:
            raise Problem(
                f"there is no maker's data {appliance!r} that may be used", remedy="choose one of the list"
            )
        self._of_trade(visit, data.trade)
        draft = SheetDraft(sheet="job", trade=data.trade, visit=visit, device=device, appliance=appliance)
        return self.drafts.begin(draft)

    def begin_appliance(self, trade: str, visit: str) -> str:
        """Begin a sheet of maker's data, and return the draft's name; Problem for an unknown trade or visit."""
        of = trade_data_asked(trade)
        if visit:
            self._of_trade(visit, of.name)
        return self.drafts.begin(SheetDraft(sheet="appliance", trade=of.name, visit=visit))

    def _of_trade(self, visit: str, trade: str) -> None:
        found = next((one for one in visits() if one.name == visit), None)
        if found is None:
            raise Problem(f"there is no visit {visit!r}", remedy="choose one of the list")
        if found.trade != trade:
            what = f"{found.title} is a visit of {found.trade}, and the maker's data is of {trade}"
            raise Problem(what, remedy="choose both of one trade")

    def own(self, name: str) -> SheetDraft | None:
        """Return a draft that whoever prepares may see; None where there is none."""
        draft = self.drafts.read(name)
        return None if draft is None or (draft.device and draft.device not in self.devices()) else draft

    def form(self, draft: SheetDraft) -> FilledForm:
        """Return a draft as a form; Problem where the maker's data it names is gone."""
        needs = _needs(draft.visit, draft.trade)
        if draft.sheet == "appliance":
            sheet = NewApplianceSheet(trade_data_asked(draft.trade), needs, self._version(draft))
            return FilledForm(sheet, draft.answers, lambda *_: None)
        return FilledForm(
            NewJobSheet(read_document(self._of_all / draft.appliance), needs), draft.answers, self._offer(draft)
        )

    def _version(self, draft: SheetDraft) -> str:
        """Return the version of a sheet written now: what was signed is not changed, so the next one."""
        signed = read_signed(check_file(self.written / draft.made)) if draft.made else ()
        last = max((one.version for one in signed), key=numbers, default=None)
        return FIRST_VERSION if last is None else least_after(last, "wording")

    def _offer(self, draft: SheetDraft) -> Callable[[str, Mapping[str, str]], tuple[str, str] | None]:
        """Return what offers answers, by the newest visits of the serial that was given."""
        rows = self._index.store.of_appliance(draft.answers.get("serial", ""))[0][-NEWEST:]
        found = (draft.trade, *(f"{row.key} {row.stamp}" for row in rows))
        if self._known is None or self._known[0] != found:
            records = EarlierRecords(self._index.root, [self._index.root / row.path for row in rows])
            model = model_of(trade_data_asked(draft.trade), "job")
            known = KnownBefore(records, model, draft.trade, known_enrolment(self._index.enrolment))
            self._known = found, known
        before = self._known[1]

        def offer(path: str, given: Mapping[str, str]) -> tuple[str, str] | None:
            one = before.offer(path, given)
            return None if one is None else (one.text, f"On the job sheet of {one.day}")

        return offer

    def finish(self, name: str, draft: SheetDraft, form: FilledForm) -> None:
        """Make the file of a draft that is whole: a job lies ready then, maker's data waits for two signatures.

        Raises Problem where another file has its name.
        """
        folder = self._outgoing / draft.device / JOBS if draft.sheet == "job" else self.written
        file = folder / f"{_plain(str(form.content[draft.sheet]))}.yaml"
        if file.exists() and file.name != draft.made:
            remedy = "give it another number" if draft.sheet == "job" else "give the model a name of its own"
            raise Problem("a sheet of this name is there already", where=file.name, remedy=remedy)
        if draft.sheet == "job":
            self._copy(self._of_all / draft.appliance, folder)
        text = written(form.content)
        if draft.sheet == "job" or not file.exists() or not _says_the_same(file, text):
            self._put(file, text.encode())
        self.drafts.made(name, file.name)
        if draft.made and draft.made != file.name:
            (folder / draft.made).unlink(missing_ok=True)

    def send(self, file_name: str) -> None:
        """Let maker's data go to every device; Problem while two people have not signed these very figures."""
        if self._offices() is not None:
            remedy = "ask a supervisor who looks after all offices"
            raise Problem("maker's data goes to the devices of every office", remedy=remedy)
        data = next((one for one in self.makers() if not one.is_sent and one.file.name == file_name), None)
        if data is None:
            raise Problem(f"there is no draft {file_name!r}", remedy="look at the list again")
        if not data.is_checked:
            raise Problem(f"{data.appliance} {data.version} is a draft: {data.standing}", where=file_name,
                          remedy="sign it first")  # fmt: skip
        self._copy(data.file, self._of_all)

    def _copy(self, sheet: Path, folder: Path) -> None:
        """Lay maker's data into a folder, first what was signed of it."""
        for file in (check_file(sheet), sheet):
            if file.exists():
                self._put(folder / file.name, contents(Disk(), file))

    def _put(self, file: Path, data: bytes) -> None:
        try:
            ensure_folder(Disk(), file.parent, 0o700)
            put(Disk(), file, data)
        except OSError as error:
            raise disk_problem(error, "laying a sheet ready", file) from error


@cache
def visits() -> tuple[LedVisit, ...]:
    """Return the visits that ship with the program; a part is none."""
    found = []
    for file in shipped_procedures():
        told = read_document(file).content
        if "exits" not in told:
            title = told["title"]
            shown = title if isinstance(title, str) else title.get("english", file.stem)
            found.append(LedVisit(file.stem, shown, told.get("trade", DEFAULT_TRADE)))
    return tuple(found)


@cache
def _needs(visit: str, trade: str) -> VisitNeeds:
    return needs_of(load_procedure(procedure_path(visit)), trade_data_asked(trade)) if visit else NO_VISIT


def _says_the_same(file: Path, text: str) -> bool:
    """Say whether a sheet has these facts already, whatever its version."""
    was, now = (re.sub(r"(?m)^version: .*$", "", one) for one in (file.read_text("utf-8"), text))
    return was == now


def _plain(text: str) -> str:
    """Return a name for a file, of letters, digits, dots and hyphens."""
    name = re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-").lower()[:60]
    if not name:
        raise Problem(f"{text!r} gives no name for a file", remedy="use letters or digits in it")
    return name


def _sheets(folder: Path) -> list[Path]:
    return (
        sorted(file for file in folder.glob("*.yaml") if not file.name.startswith(".")) if folder.is_dir() else []
    )
