"""The office as devices see it: what it signs with, where it keeps what comes, its certificate, its routes."""

from __future__ import annotations

import ssl
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from starlette.types import ASGIApp

from handsfree.desk.index import Index
from handsfree.desk.receiving import Arrival
from handsfree.doorway import prove_with, tls_context
from handsfree.glance.authority import SERVER_LIFE, Authority, own_names
from handsfree.handover.dispatch import Dispatch
from handsfree.handover.intake import NetworkIntake, OfficeKeys
from handsfree.handover.outbox import Outbox
from handsfree.handover.reception import EnrolledDevices, Reception
from handsfree.handover.uploads import Uploads
from handsfree.ledger.files import Disk, put
from handsfree.objects.keeping import ObjectStore
from handsfree.office.enrolment import NAME, Role, read_enrolment
from handsfree.office.kept_key import KeptKey, make_key, open_key
from handsfree.problem import Problem
from handsfree.serving import ServingLimits

LIMITS = ServingLimits(connections=512, per_address=128, request_s=60.0)
"""A company's devices come together in the evening, many of them through one address of a mobile network."""
RENEWAL_S = SERVER_LIFE.total_seconds() / 3
AUTHORITY_FILE = "office-authority.pem"


@dataclass
class OfficeSite:
    """An office over a folder of visits; `state` holds its keys, its list, its log and what is under way."""

    visits: Path
    state: Path
    taken: Callable[[Arrival], None] = lambda _: None
    objects: ObjectStore | None = None
    """Where each package is kept as an object too; nowhere when None."""
    intake: NetworkIntake = field(init=False)

    def __post_init__(self) -> None:
        """Open the keys; Problem when there is no enrolment list, or this machine stands on none as a receiver."""
        enrolment = read_enrolment(self.state / NAME)
        receiver = receiver_key(self.state)
        if enrolment.find(receiver.public, Role.RECEIVER) is None:
            raise Problem(
                f"this machine's key, {receiver.public}, is not on the enrolment list as a receiver",
                where=str(self.state / NAME),
                remedy=f"enrol it: handsfree enrol add receiver NAME {receiver.public}",
            )
        keys = OfficeKeys(receiver, _unattended(self.state / "log.pem"))
        self._receiver, self._devices = receiver, EnrolledDevices(self.state / NAME)
        self.intake = NetworkIntake(
            self.visits, self.state / "handover", keys, self.state / "log", taken=self.taken,
            office_of=self._devices.office_of, objects=self.objects,
        )  # fmt: skip

    def application(self) -> ASGIApp:
        """Return the routes of the hand-over."""
        uploads = Uploads(self.state / "handover" / "uploads")
        reception = Reception(self.intake, uploads, Outbox(outbox_folder(self.state)), self._receiver)
        return reception.application(self._devices.knows)


def receiver_key(state: Path) -> KeptKey:
    """Return the key with which this machine signs receipts; made on first use, without a passphrase."""
    return _unattended(state / "receiver.pem")


def outbox_folder(state: Path) -> Path:
    """Return where an office keeps what waits for its devices."""
    return state / "handover" / "outbox"


def dispatch_of(index: Index, state: Path, outgoing: Path | None) -> list[Dispatch]:
    """Return the office's sending, for the desk beside it; none where this machine is no office."""
    handover = state / "handover"
    return [Dispatch(index, Outbox(outbox_folder(state)), handover, outgoing)] if handover.is_dir() else []


def _unattended(path: Path) -> KeptKey:
    return open_key(path, None) if path.exists() else make_key(path, None)


def office_tls(state: Path, names: Sequence[str]) -> ssl.SSLContext:
    """Return what the office encrypts with, by its own authority, whose certificate is laid into the state folder.

    The certificate is short-lived; it is made anew in time for as long as the program runs.
    """
    authority = Authority.of_device(own_names(*names), state)
    for name in names:
        if not authority.covers(name):
            raise Problem(
                f"the office's authority may not vouch for {name}", where=str(state),
                remedy="make a new one, which devices must take again: handsfree phone --renew --address NAME",
            )  # fmt: skip
    put(Disk(), state / AUTHORITY_FILE, ssl.DER_cert_to_PEM_cert(authority.file).encode())
    made = authority.identity_for(own_names(*names))
    context = tls_context(made.chain, made.key)

    def renew() -> None:
        new = authority.identity_for(own_names(*names))
        prove_with(context, new.chain, new.key)
        _later(renew)

    _later(renew)
    return context


def _later(work: Callable[[], None]) -> None:
    timer = threading.Timer(RENEWAL_S, work)
    timer.daemon = True
    timer.start()
