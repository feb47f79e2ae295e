"""A device with closed visits of its own, and an office that knows it."""

import shutil
import sys
from dataclasses import dataclass, field
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "handover" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "desk" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "ledger" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "visit" / "support"))

from invented_visits import record_visit
from lists import OFFICE, enrol_devices

from handsfree.desk import receiving
from handsfree.handover.credentials import request_key
from handsfree.handover.office_link import OfficeLink
from handsfree.handover.office_site import LIMITS, OfficeSite, receiver_key
from handsfree.handover.sending import Sender
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, Role, read_enrolment
from handsfree.serving import Server, listen


@pytest.fixture(scope="session")
def recorded_on_device(tmp_path_factory):
    """Two closed visits, `first` and `second`, and the `state` of the device that made them."""
    root = tmp_path_factory.mktemp("device")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(root / "state"))
        record_visit(root / "visits" / "first", stop_at="permission")
        record_visit(root / "visits" / "second", stop_at="permission")
    return root


class AtOnce:
    """Does in this process what the product does in a limited one, which takes a second to start."""

    def __init__(self, _name, work, *, seconds):
        self.do = lambda given, where="": work(given)

    def close(self):
        pass


@dataclass
class Pair:
    """A device and its office, each with a state folder of its own."""

    device: Path
    office: Path
    links: list = field(default_factory=list)

    @property
    def visits(self):
        return self.device / "visits"

    @property
    def state(self):
        return self.device / "state"

    @property
    def taken(self):
        return self.office / "visits"

    def enrolment(self):
        return read_enrolment(self.office / NAME)

    def link(self, address, **more):
        self.links.append(OfficeLink(address, request_key(self.state), pause=lambda _: None, **more))
        return self.links[-1]

    def sender(self, address, **more):
        return Sender(self.link(address, **more), self.enrolment())

    def intake(self):
        return OfficeSite(self.taken, self.office).intake

    def serve(self, taken=lambda _: None, **more):
        """Return a started server of the office, over plain HTTP on this machine."""
        site = OfficeSite(self.taken, self.office, taken, **more)
        server = Server(listen("127.0.0.1", 0), LIMITS)
        server.start(site.application())
        server.site = site
        return server


@pytest.fixture
def pair(recorded_on_device, tmp_path, monkeypatch, request):
    """A copy of the device, and an office that has enrolled it; the process itself is the office's."""
    if request.node.get_closest_marker("slow") is None:
        monkeypatch.setattr(receiving, "Sandbox", AtOnce)
    shutil.copytree(recorded_on_device, tmp_path / "device")
    office = tmp_path / "office"
    monkeypatch.setenv("HANDSFREE_STATE", str(office))
    enrol_devices(tmp_path / "device" / "visits", office)
    add(office / NAME, OFFICE, key=receiver_key(office).public, name="counter", role=Role.RECEIVER,
        valid_from=BEFORE_THE_PROGRAM)  # fmt: skip
    both = Pair(tmp_path / "device", office)
    yield both
    for link in both.links:
        link.close()


@pytest.fixture
def served(pair):
    """The office's server and its address."""
    server = pair.serve()
    with server:
        yield f"http://127.0.0.1:{server.port}"
    server.site.intake.close()
