"""The bundles that a device has taken: every version it was given, and which of them each procedure is led by.

`bundles/NAME/VERSION.zip` in the state folder, and `bundles/NAME/in-use` that names one of them. A bundle is
verified again whenever it is used, so nothing here has to be trusted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.bundles.archive import ENDING, Bundle, read_bundle
from handsfree.bundles.statement import DAY_MS, MOST_DAYS, Approval, Withdrawal, fault_of_author
from handsfree.bundles.version import is_version, numbers
from handsfree.bundles.withdrawals import NAME as WITHDRAWALS
from handsfree.bundles.withdrawals import WithdrawalList, read_withdrawals, withdrawn, write_withdrawals
from handsfree.ledger import Clock, SystemClock, state_folder
from handsfree.ledger.clock import milliseconds
from handsfree.ledger.files import Disk, disk_problem, ensure_folder, put
from handsfree.ledger.verification import CLOCKS_DIFFER_BY
from handsfree.ledger.visit import is_plain_name
from handsfree.office.enrolment import Enrolment
from handsfree.office.verification import known_enrolment
from handsfree.problem import ExitCode, Problem

FOLDER, IN_USE = "bundles", "in-use"


def why_not(approval: Approval, withdrawals: WithdrawalList, enrolment: Enrolment, now: int) -> str:
    """Return why nobody is led by what was approved, in a clause; empty when it may be.

    `now` is in ms since 1970.
    """
    if fault := fault_of_author(approval, enrolment):
        return fault
    if fault := _why_withdrawn(approval, withdrawals, enrolment):
        return fault
    if milliseconds(approval.valid_until) - milliseconds(approval.at) > MOST_DAYS * DAY_MS:
        return f"it is approved from {approval.at} until {approval.valid_until}, longer than {MOST_DAYS} days"
    if milliseconds(approval.at) > now + CLOCKS_DIFFER_BY:
        return f"it was approved at {approval.at}, and that has not come yet"
    if milliseconds(approval.valid_until) <= now:
        return f"its approval ran out at {approval.valid_until}"
    return ""


def _why_withdrawn(approval: Approval, withdrawals: WithdrawalList, enrolment: Enrolment) -> str:
    """Return by whom a version was withdrawn, and why; empty when it was not.

    Withdrawals count whose author the list vouches for. Where a line of them does not hold, nobody knows what it
    withdrew, and nothing may be used.
    """
    vouched = (one for one in withdrawals.whole if not fault_of_author(one, enrolment))
    recall = withdrawn(approval.procedure, approval.version, vouched)
    if recall is not None:
        return f"{recall.author} withdrew it at {recall.at}: {recall.why}"
    if withdrawals.fault:
        return f"it may be withdrawn by a line that does not hold ({withdrawals.fault})"
    return ""


@dataclass(frozen=True)
class TakenBundles:
    """The bundles of one device, in a folder."""

    folder: Path
    enrolment: Enrolment
    clock: Clock

    @staticmethod
    def here(enrolment: Path | None = None, clock: Clock | None = None) -> TakenBundles:
        """Return those of this device; Problem where no enrolment list says who its authors are."""
        found = known_enrolment(enrolment)
        if found is None:
            raise Problem(
                "this device has no enrolment list, so it knows no author",
                where=str(state_folder()),
                remedy="take the office's list: handsfree enrol import; or begin one: handsfree enrol --self",
            )
        return TakenBundles(state_folder() / FOLDER, found, clock or SystemClock())

    @staticmethod
    def used_here(name: str) -> str | None:
        """Return the version that this device leads a procedure by; None when it has taken none.

        Problem when it cannot be read which: then nothing leads in its place.
        """
        return _in_use(state_folder() / FOLDER, name)

    def names(self) -> list[str]:
        """Return the procedures of which a bundle is here."""
        kept = (*self.folder.glob(f"*/{IN_USE}"), *self.folder.glob(f"*/*{ENDING}"))
        return sorted({path.parent.name for path in kept})

    def versions(self, name: str) -> list[str]:
        """Return the versions of a procedure that are here, the lowest first."""
        found = [path.name.removesuffix(ENDING) for path in (self.folder / name).glob(f"*{ENDING}")]
        return sorted(filter(is_version, found), key=numbers)

    def in_use(self, name: str) -> str | None:
        """Return the version that a procedure is led by; None where none is kept, Problem as `used_here`."""
        return _in_use(self.folder, name)

    def bundle(self, name: str, version: str) -> Bundle:
        """Return a bundle that is here, verified as one that was just brought; Problem when it is another."""
        path = self.folder / name / f"{version}{ENDING}"
        found = read_bundle(path)
        approved = found.approval.procedure, found.approval.version
        if approved != (name, version):
            raise Problem(
                f"this is the bundle of {' '.join(approved)}, under the name of {name} {version}",
                where=str(path),
                remedy=f"take {name} {version} again",
                code=ExitCode.FAILED,
            )
        return found

    def _whole(self, name: str, version: str | None) -> Approval | None:
        """Return what was approved as a version; None when no bundle of it is here that can be used."""
        if version not in self.versions(name):
            return None
        try:
            return self.bundle(name, version).approval
        except Problem:
            return None

    def withdrawals(self) -> WithdrawalList:
        """Return all that this device knows to be withdrawn, as far as its list is whole."""
        return read_withdrawals(self.folder / WITHDRAWALS)

    def why_not(self, approval: Approval) -> str:
        """Return why nobody is led by what was approved now; empty when it may be."""
        return why_not(approval, self.withdrawals(), self.enrolment, self.now())

    def why_not_taken(self, approval: Approval) -> str:
        """Return why what was approved is not taken; empty when it may be.

        What is not here yet needs an author whose key stands today, for a revoked one can date back; what was
        taken before goes on by `why_not` alone.
        """
        if fault := self.why_not(approval):
            return fault
        name, version = approval.procedure, approval.version
        if self._whole(name, version) == approval:
            return ""
        return fault_of_author(approval, self.enrolment, self.now())

    def now(self) -> int:
        """Return the time, in ms since 1970: never earlier than what is in use was signed at.

        So a clock that was set back brings no approval back that had run out by then. A damaged bundle tells no
        time, and stops no other.
        """
        used = (self._whole(name, self._used_or_none(name)) for name in self.names())
        return max((self.clock.now().wall, *(milliseconds(one.at) for one in used if one is not None)))

    def _used_or_none(self, name: str) -> str | None:
        """Return the version in use; None when there is none, or it cannot be read which."""
        try:
            return self.in_use(name)
        except Problem:
            return None

    def keep(self, bundle: Bundle) -> str:
        """Keep a bundle, and lead by it from now on unless a higher version is in use; return what was done.

        Problem when another procedure was taken under this version. The bundle was verified by whoever calls, and
        mends one that is here and damaged.
        """
        name, version = bundle.approval.procedure, bundle.approval.version
        here = self._whole(name, version)
        used = self._used_or_none(name)
        if here is not None:
            if here.procedure_sha256 != bundle.approval.procedure_sha256:
                raise Problem(
                    f"another procedure was taken as {name} {version}",
                    where=bundle.name,
                    remedy="let the author raise its version",
                    code=ExitCode.FAILED,
                )
            if here.at >= bundle.approval.at and used is not None:
                return "is here already"
        folder = self.folder / name
        try:
            ensure_folder(Disk(), folder, 0o755)
            put(Disk(), folder / f"{version}{ENDING}", bundle.content)
        except OSError as error:
            raise disk_problem(error, "keeping a bundle", folder) from error
        if used is not None and numbers(used) > numbers(version):
            return f"is kept; {used} stays in use"
        self.use(name, version)
        return "is in use" if used is None else f"is in use after {used}" if used != version else "is renewed"

    def use(self, name: str, version: str) -> None:
        """Lead by a version that is here from now on; Problem when it may not be, or is not here."""
        if version not in self.versions(name):
            known = ", ".join(self.versions(name)) or "none"
            raise Problem(f"{name} {version} is not here", remedy=f"here: {known}")
        if fault := self.why_not(self.bundle(name, version).approval):
            raise Problem(f"{name} {version} is not used: {fault}", code=ExitCode.FAILED)
        path = self.folder / name / IN_USE
        try:
            put(Disk(), path, f"{version}\n".encode())
        except OSError as error:
            raise disk_problem(error, "saying which bundle is used", path) from error

    def back(self, name: str) -> str:
        """Lead by the highest lower version that may be used; return it, or Problem when there is none."""
        used = self.in_use(name)
        if used is None:
            raise Problem(f"no bundle of {name!r} is here", remedy="see: handsfree take")
        lower = [one for one in self.versions(name) if numbers(one) < numbers(used)]
        for version in reversed(lower):
            approval = self._whole(name, version)
            if approval is not None and not self.why_not(approval):
                self.use(name, version)
                return version
        raise Problem(f"there is no version of {name} before {used} that may be used", code=ExitCode.FAILED)

    def recall(self, withdrawals: Sequence[Withdrawal]) -> tuple[int, int]:
        """Keep what is withdrawn, as far as the list vouches for its authors.

        Returns how much of it is new, and how much was left out because the list does not vouch for its author.
        """
        vouched = [one for one in withdrawals if not fault_of_author(one, self.enrolment)]
        new = write_withdrawals(self.folder / WITHDRAWALS, self.withdrawals(), vouched)
        return new, len(withdrawals) - len(vouched)

    def led_by(self, name: str) -> Bundle | None:
        """Return the bundle that leads a visit; None when none of that name is here, Problem when it may not."""
        version = self.in_use(name)
        if version is None:
            return None
        bundle = self.bundle(name, version)
        if fault := self.why_not(bundle.approval):
            raise Problem(
                f"{name} {version} leads no visit: {fault}",
                where=str(self.folder / name),
                remedy="take a newer bundle, or go back with: handsfree take --back " + name,
                code=ExitCode.FAILED,
            )
        return bundle


def withdrawals_here() -> tuple[Withdrawal, ...]:
    """Return all that this machine has taken to be withdrawn; Problem where a line of it is damaged."""
    return read_withdrawals(state_folder() / FOLDER / WITHDRAWALS).must_be_whole()


def _in_use(folder: Path, name: str) -> str | None:
    if not is_plain_name(name):
        return None
    path = folder / name / IN_USE
    try:
        version = path.read_text("ascii").strip()
    except FileNotFoundError:
        if any(path.parent.glob(f"*{ENDING}")):
            what = "bundles are kept here, and nothing says which of them is used"
            raise Problem(what, where=str(path), remedy="take one of them again", code=ExitCode.FAILED) from None
        return None
    except OSError as error:
        raise disk_problem(error, "reading which bundle is used", path) from error
    except UnicodeDecodeError:
        version = ""
    if not is_version(version):
        raise Problem(
            "this names no version, so nobody knows which bundle is used",
            where=str(path),
            remedy="take its bundle again",
            code=ExitCode.FAILED,
        )
    return version
