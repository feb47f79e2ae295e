"""An evening of a company: devices send their visits through links that break while a supervisor signs.

Each process of the company is killed once. What comes back says what was acknowledged and what the office holds.
"""

from __future__ import annotations

import hashlib
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

from breaking_proxies import DroppingProxy
from invented_visits import record_visit
from lists import NAMED, SUPERVISOR, signed

from handsfree.company.configuration import CompanyConfiguration, state_of, visits_of
from handsfree.company.founding import found
from handsfree.handover.credentials import request_key
from handsfree.handover.office_link import OfficeLink
from handsfree.handover.sending import Sender
from handsfree.ledger import DeviceKey
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.ledger.visit import visits_beneath
from handsfree.office.endorsements import kept_lines
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, Role, read_enrolment
from handsfree.office.kept_key import open_key
from handsfree.office.log import checked_log
from handsfree.office.verification import verify_anchored
from handsfree.problem import Problem

PASSPHRASE = "larkmoor evening"


@dataclass
class Evening:
    """What was sent, acknowledged, signed and killed, and what the office holds at the end."""

    visits: int = 0
    receipts: list = field(default_factory=list)
    signed: set = field(default_factory=set)
    killed: list = field(default_factory=list)
    dropped: int = 0
    seconds: float = 0.0
    faults: list = field(default_factory=list)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as one:
        return one.getsockname()[1]


def hold(root: Path, devices: int, visits_each: int, *, every: int = 60_000, longest_s: float = 600) -> Evening:
    """Let the evening happen beneath an empty folder; each device's own link breaks after `every` bytes."""
    evening, folder = Evening(devices * visits_each), root / "company"
    settings = CompanyConfiguration(
        name="The office of Larkmoor", names=("127.0.0.1",), office_host="127.0.0.1", office_port=free_port(),
        desk_port=free_port(),
    )  # fmt: skip
    made = found(folder, settings, PASSPHRASE)
    office = open_key(made.office_key, PASSPHRASE)
    add(made.enrolment, office, key=SUPERVISOR.key, name=NAMED, role=Role.SUPERVISOR,
        valid_from=BEFORE_THE_PROGRAM)  # fmt: skip
    for number in range(devices):
        state = root / f"device-{number}" / "state"
        os.environ["HANDSFREE_STATE"] = str(state)
        for visit in range(visits_each):
            record_visit(root / f"device-{number}" / "visits" / f"{number}-{visit}", stop_at="permission")
        add(made.enrolment, office, key=DeviceKey(state).public_key(), name=f"tablet {number}", role=Role.DEVICE,
            valid_from=BEFORE_THE_PROGRAM)  # fmt: skip
    os.environ["HANDSFREE_STATE"] = str(state_of(folder))
    company = subprocess.Popen(
        [sys.executable, "-m", "handsfree.commands.app", "company", "run", str(folder)], stdout=subprocess.PIPE,
        text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    running: dict[str, int] = {}
    threading.Thread(target=_listen, args=(company, running), daemon=True).start()
    began, done = time.monotonic(), threading.Event()
    enrolment = read_enrolment(made.enrolment)
    with ExitStack() as links:
        proxies = [links.enter_context(DroppingProxy(settings.office_port, every=every)) for _ in range(devices)]
        sending = [
            threading.Thread(target=_send, args=(evening, root / f"device-{number}", proxy.port, made.authority,
                                                 enrolment, began + longest_s))
            for number, proxy in enumerate(proxies)
        ]  # fmt: skip
        signing = threading.Thread(target=_sign, args=(evening, folder, enrolment, done))
        for thread in (*sending, signing):
            thread.start()
        for name, share in (("office", 3), ("desk", 2)):
            while len(evening.receipts) < evening.visits // share and any(one.is_alive() for one in sending):
                time.sleep(0.05)
            if process := running.get(name):
                os.kill(process, signal.SIGKILL)
                evening.killed.append(name)
        for thread in sending:
            thread.join()
        time.sleep(1)
        done.set()
        signing.join()
        evening.dropped = sum(proxy.dropped for proxy in proxies)
    evening.seconds = time.monotonic() - began
    company.terminate()
    company.wait(30)
    company.stdout.close()
    return evening


def _listen(company, running):
    try:
        for line in company.stdout:
            if found_one := re.match(r"(\w+) runs as process (\d+)", line):
                running[found_one[1]] = int(found_one[2])
    except ValueError:
        pass  # closed


def _send(evening, device, port, authority, enrolment, until):
    link = OfficeLink(f"https://127.0.0.1:{port}", request_key(device / "state"), authority)
    sender = Sender(link, enrolment)
    for visit in visits_beneath(device / "visits"):
        while time.monotonic() < until:
            try:
                evening.receipts.append(sender.send(visit).receipt)
                break
            except Problem as problem:
                evening.faults.append(problem.sentence())
                time.sleep(1)
    link.close()


def _sign(evening, folder, enrolment, done):
    """Sign every visit that arrives, once."""
    while True:
        last = done.is_set()
        for visit in visits_beneath(visits_of(folder)):
            if visit.name not in evening.signed:
                report = verify_anchored(visit, enrolment)
                if report.whole:
                    signed(report)
                    evening.signed.add(visit.name)
        if last:
            return
        time.sleep(0.2)


def lost_or_doubled(root: Path, evening: Evening) -> list[str]:
    """Return what is missing, doubled or wrong at the office; empty when all is well."""
    folder, wrong = root / "company", []
    enrolment = read_enrolment(state_of(folder) / NAME)
    reports = {visit: verify_anchored(visit, enrolment) for visit in visits_beneath(visits_of(folder))}
    held = [hashlib.sha256((visit / "ledger.jsonl").read_bytes()).hexdigest() for visit in reports]
    acknowledged = [receipt.ledger for receipt in evening.receipts if receipt]
    wrong += [f"acknowledged and lost: {one}" for one in set(acknowledged) - set(held)]
    wrong += [f"doubled: {one}" for one in set(held) if held.count(one) > 1]
    wrong += [f"does not verify: {visit.name}" for visit, report in reports.items() if not report.ok]
    public = open_key(state_of(folder) / "log.pem", None).public
    leaves = checked_log(state_of(folder) / "log", public)
    logged = [leaf["digest"] for leaf in leaves if leaf["kind"] == "visit"]
    heads = [report.head.digest for report in reports.values()]
    if sorted(logged) != sorted(heads):
        wrong.append(f"{len(logged)} heads in the log, {len(heads)} visits")
    for receipt in evening.receipts:  # each older checkpoint is a beginning of today's log
        checked_log(state_of(folder) / "log", public, receipt.checkpoint)
    wrong += [f"signed and lost: {name}" for name in evening.signed if not kept_lines(visits_of(folder) / name)]
    return wrong
