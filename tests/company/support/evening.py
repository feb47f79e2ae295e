"""An evening of a company: devices send visits through links that break while a supervisor signs at the desk.

One command founds it and runs it, with its own PostgreSQL and object store. Each of its processes is killed once.
What comes back says what was acknowledged, what was signed, and what the office holds.
"""

from __future__ import annotations

import hashlib
import os
import re
import signal
import subprocess
import sys
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

import boto3
import psycopg
from breaking_proxies import DroppingProxy
from invented_visits import record_visit
from signing_supervisor import SigningSupervisor

from handsfree.company import own_objects
from handsfree.company.configuration import CompanyConfiguration, read_configuration, state_of, visits_of
from handsfree.company.founding import OFFICE_KEY
from handsfree.desk.index import key_of
from handsfree.handover.credentials import request_key
from handsfree.handover.office_link import OfficeLink
from handsfree.handover.office_site import AUTHORITY_FILE
from handsfree.handover.sending import Sender
from handsfree.ledger import DeviceKey
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.ledger.visit import visits_beneath
from handsfree.office.endorsements import kept_lines
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, Role, read_enrolment
from handsfree.office.kept_key import open_key
from handsfree.office.log import checked_leaves
from handsfree.office.verification import verify_anchored
from handsfree.problem import Problem
from tests.object_store import free_ports

PASSPHRASE = "larkmoor evening"
PROCESSES = ("database", "objects", "office", "desk")
PROGRAM = [sys.executable, "-m", "handsfree.commands.app", "company"]


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
    objects: dict = field(default_factory=dict)
    """SHA-256 of each object, by its name."""
    catalogue: list = field(default_factory=list)
    """Key and verdict of each visit that the desk's database knows."""


class Company:
    """The one program that runs all others; `ids` has the process of each."""

    def __init__(self, *arguments: object) -> None:
        self.ids: dict[str, int] = {}
        self.told: list[str] = []
        self.main = subprocess.Popen(
            [*PROGRAM, *map(str, arguments)], stdout=subprocess.PIPE, text=True,
            env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        with self.main.stdout:
            for line in self.main.stdout:
                self.told.append(line)
                if found := re.match(r"(\w+) runs as process (\d+)", line):
                    self.ids[found[1]] = int(found[2])

    def wait_for(self, names: tuple[str, ...], until: float) -> None:
        while not all(name in self.ids for name in names):
            assert self.main.poll() is None, "".join(self.told)
            assert time.monotonic() < until, "".join(self.told)
            time.sleep(0.1)

    def end(self) -> None:
        self.main.terminate()
        self.main.wait(60)


def hold(root: Path, devices: int, visits_each: int, *, every: int = 60_000, longest_s: float = 600) -> Evening:
    """Let the evening happen beneath an empty folder; each device's own link breaks after `every` bytes.

    Everybody may pass through the folder: PostgreSQL runs as a user of its own where the tests run as root.
    """
    evening, folder = Evening(devices * visits_each), root / "company"
    office_port = ports_in_a_row(2 + own_objects.PORTS)
    desk_port, objects_port = office_port + 1, office_port + 2
    secret = root / "secret"
    secret.write_text(f"{PASSPHRASE}\n")
    began = time.monotonic()
    company = Company(
        "init", folder, "The office of Larkmoor", "--name", "127.0.0.1", "--office-port", office_port,
        "--desk-port", desk_port, "--objects-port", objects_port, "--passphrase-file", secret,
    )  # fmt: skip
    for number in range(devices):
        os.environ["HANDSFREE_STATE"] = str(root / f"device-{number}" / "state")
        for visit in range(visits_each):
            record_visit(root / f"device-{number}" / "visits" / f"{number}-{visit}", stop_at="permission")
    company.wait_for(PROCESSES, began + longest_s)
    state = state_of(folder)
    listed, office = state / NAME, open_key(state / OFFICE_KEY, PASSPHRASE)
    supervisor = SigningSupervisor(f"https://localhost:{desk_port}", state / AUTHORITY_FILE)
    add(listed, office, key=supervisor.key, name="A. Supervisor", role=Role.SUPERVISOR,
        valid_from=BEFORE_THE_PROGRAM, passkey=supervisor.passkey)  # fmt: skip
    for number in range(devices):
        key = DeviceKey(root / f"device-{number}" / "state").public_key()
        add(listed, office, key=key, name=f"tablet {number}", role=Role.DEVICE, valid_from=BEFORE_THE_PROGRAM)
    os.environ["HANDSFREE_STATE"] = str(state)
    until = began + longest_s
    with ExitStack() as links:
        proxies = [links.enter_context(DroppingProxy(office_port, every=every)) for _ in range(devices)]
        enrolment = read_enrolment(listed)
        sending = [
            threading.Thread(target=_send, args=(evening, root / f"device-{number}", proxy.port,
                                                 state / AUTHORITY_FILE, enrolment, until))
            for number, proxy in enumerate(proxies)
        ]  # fmt: skip
        signing = threading.Thread(target=_sign, args=(evening, supervisor, until))
        for thread in (*sending, signing):
            thread.start()
        _when(lambda: len(evening.receipts) >= evening.visits // 3, until)
        for name in ("office", "objects"):
            _kill(company.ids[name], name, evening)
        _when(lambda: len(evening.receipts) >= evening.visits // 2 and evening.signed, until)
        for name in ("desk", "database"):
            _kill(company.ids[name], name, evening)
        _when(lambda: len(evening.receipts) >= evening.visits * 2 // 3, until)
        _kill(company.main.pid, "the program itself", evening)
        company.main.wait()
        company = Company("run", folder)
        for thread in (*sending, signing):
            thread.join()
        evening.dropped = sum(proxy.dropped for proxy in proxies)
    evening.seconds = time.monotonic() - began
    company.wait_for(PROCESSES, until)
    settings = read_configuration(folder)
    evening.objects, evening.catalogue = _objects(state), _catalogue(settings, state)
    company.end()
    return evening


def ports_in_a_row(count: int) -> int:
    """Return the first of some free ports that follow each other, low enough for the store's offset of 10,000."""
    ports = free_ports(100)
    return next(one for one in ports if all(one + more in ports for more in range(count)))


def _when(holds, until) -> None:
    while not holds() and time.monotonic() < until:
        time.sleep(0.05)


def _kill(process: int, name: str, evening: Evening) -> None:
    os.kill(process, signal.SIGKILL)
    evening.killed.append(name)


def _objects(state: Path) -> dict[str, str]:
    """Return the digest of each object that the store gives back, by its name."""
    told = own_objects.environment(state / own_objects.SETTINGS)
    client = boto3.client(
        "s3", endpoint_url=told["AWS_ENDPOINT_URL"], region_name="local",
        aws_access_key_id=told["AWS_ACCESS_KEY_ID"], aws_secret_access_key=told["AWS_SECRET_ACCESS_KEY"],
    )  # fmt: skip
    pages = client.get_paginator("list_objects_v2").paginate(Bucket=own_objects.BUCKET)
    names = [each["Key"] for page in pages for each in page.get("Contents", ())]
    read = (client.get_object(Bucket=own_objects.BUCKET, Key=name)["Body"].read() for name in names)
    return {name.split(".")[0]: hashlib.sha256(data).hexdigest() for name, data in zip(names, read, strict=True)}


def _catalogue(settings: CompanyConfiguration, state: Path) -> list[tuple[str, str]]:
    with psycopg.connect(settings.store, passfile=str(state / "pgpass")) as base:
        return base.execute("SELECT key, signed FROM visit ORDER BY key").fetchall()


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


def _sign(evening, supervisor, until):
    """Sign every visit that waits at the desk, until all are signed."""
    while time.monotonic() < until and len(evening.signed) < evening.visits:
        try:
            if (signed := supervisor.sign_next()) is not None:
                evening.signed.add(signed)
                continue
        except OSError as error:  # the desk is away, or its database
            evening.faults.append(str(error))
        time.sleep(0.5)
    supervisor.close()


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
    leaves = list(checked_leaves(state_of(folder) / "log", public))
    logged = [leaf["digest"] for leaf in leaves if leaf["kind"] == "visit"]
    heads = [report.head.digest for report in reports.values()]
    if sorted(logged) != sorted(heads):
        wrong.append(f"{len(logged)} heads in the log, {len(heads)} visits")
    for receipt in evening.receipts:  # each older checkpoint is a beginning of today's log
        list(checked_leaves(state_of(folder) / "log", public, receipt.checkpoint))
    by_key = {key_of(visit.name): visit for visit in reports}
    wrong += [f"signed and lost: {key}" for key in evening.signed if not kept_lines(by_key[key])]
    wrong += [f"signed twice: {visit.name}" for visit in reports if len(kept_lines(visit)) > 1]
    packages = {receipt.package for receipt in evening.receipts}
    wrong += [f"acknowledged, and no object: {one}" for one in packages - set(evening.objects)]
    wrong += [f"an object with other bytes: {one}" for one, read in evening.objects.items() if one != read]
    if evening.catalogue != sorted((key, "accepted") for key in by_key):
        wrong.append(f"the desk's database tells of {evening.catalogue}")
    return wrong
