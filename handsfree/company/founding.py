"""Making a company's folder: keys, enrolment list, the machine as receiver, its certificate, a service file."""

from __future__ import annotations

import os
import pwd
import sys
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from handsfree.company import own_database, own_objects
from handsfree.company.configuration import (
    FILE,
    OUTGOING,
    CompanyConfiguration,
    state_of,
    visits_of,
    write_configuration,
)
from handsfree.handover.office_site import AUTHORITY_FILE, office_tls, receiver_key
from handsfree.ledger.files import Disk, disk_problem, ensure_folder, put
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.enrolling import add, begin
from handsfree.office.enrolment import NAME, Role
from handsfree.office.kept_key import make_key
from handsfree.problem import Problem

SERVICE = "handsfree-company.service"
OFFICE_KEY = "office.pem"


@dataclass(frozen=True)
class FoundedCompany:
    """What was made: the folder, and the files that an administrator hands on or keeps."""

    folder: Path
    enrolment: Path
    authority: Path
    office_key: Path
    service: Path


def with_own_stores(folder: Path, configuration: CompanyConfiguration, port: int) -> CompanyConfiguration:
    """Return the settings with stores of the company's own where none is named.

    Without the program of an object store, or a library that speaks to one, objects lie in a folder. Raises
    Problem when PostgreSQL, or what speaks to it, is not there.
    """
    changes: dict[str, object] = {}
    if not configuration.store:
        own_database.must_have_server(folder)
        for library in ("psycopg", "alembic"):
            if find_spec(library) is None:
                raise Problem(f"a PostgreSQL needs {library}",
                              remedy="pip install 'handsfree[company]', or go without: --embedded")  # fmt: skip
        changes |= {"own_database": True, "store": own_database.address_of(folder)}
    if not configuration.objects:
        there = own_objects.store_program() is not None and find_spec("boto3") is not None
        changes |= (
            {"own_objects_port": port, "objects": own_objects.ADDRESS}
            if there
            else {"objects": own_objects.FOLDER}
        )
    return configuration.model_copy(update=changes)


def found(folder: Path, configuration: CompanyConfiguration, passphrase: str) -> FoundedCompany:
    """Make a company in a new or empty folder.

    The office's own key is kept under the passphrase; the receiver's and the log's sign unattended. Raises Problem
    when anything lies there already, the passphrase is too short, or the disk fails.
    """
    try:
        ensure_folder(Disk(), folder, 0o700)
        if Disk().names(folder):
            raise Problem("this folder is not empty", where=str(folder), remedy="name a new one")
        state = state_of(folder)
        for inner in (state, visits_of(folder), folder / OUTGOING, state / "handover"):
            ensure_folder(Disk(), inner, 0o700)
        office = make_key(state / OFFICE_KEY, passphrase)
        begin(state / NAME, office, configuration.name)
        receiver = receiver_key(state).public
        add(state / NAME, office, key=receiver, name="this machine", role=Role.RECEIVER,
            valid_from=BEFORE_THE_PROGRAM)  # fmt: skip
        office_tls(state, configuration.names)
        if configuration.own_database:
            own_database.make_database(folder, state / own_database.PASSWORDS)
        if configuration.own_objects_port:
            own_objects.make_objects(folder, state / own_objects.SETTINGS, configuration.own_objects_port)
        put(Disk(), folder / SERVICE, _service(folder).encode())
        write_configuration(folder, configuration)  # last: a folder without it is not yet a company
    except OSError as error:
        raise disk_problem(error, "making the company", folder) from error
    return FoundedCompany(folder, state / NAME, state / AUTHORITY_FILE, state / OFFICE_KEY, folder / SERVICE)


def next_steps(company: FoundedCompany, configuration: CompanyConfiguration) -> list[str]:
    """Return what an administrator does next, in order."""
    reached = configuration.names[0] if configuration.names else "THIS-MACHINE"
    office = f"https://{reached}:{configuration.office_port}"
    state = f"HANDSFREE_STATE={company.enrolment.parent}"
    kept = [
        f"Back up {company.folder}: visits are the truth, state has the keys and the log, {FILE} the settings."
    ]
    if configuration.own_database:
        passwords, address = company.enrolment.parent / own_database.PASSWORDS, configuration.store
        kept.append(f"The catalogue is copied by PGPASSFILE={passwords} pg_dump --format=custom '{address}'")
    start = f"cp {company.service} /etc/systemd/system/ && systemctl enable --now {SERVICE}"
    return [
        f"Keep a copy of {company.office_key} and its passphrase away from this machine.",
        f"Start it: handsfree company run {company.folder}; or as a service: {start}",
        f"For each device, its key from `handsfree device-key` on it: {state} handsfree enrol add device NAME KEY",
        f"For each supervisor: {state} handsfree enrol add supervisor NAME KEY-OR-PASSKEY-FILE",
        f"Give each device {company.enrolment} (handsfree enrol import) and {company.authority}.",
        f"On each device: handsfree send VISITS --to {office} --trust {AUTHORITY_FILE}",
        f"Save what is to go to devices in {company.folder / OUTGOING}: TABLET/jobs, all/procedures and so on.",
        *kept,
    ]


def what_it_keeps(configuration: CompanyConfiguration) -> str:
    """Return one sentence on where the catalogue and the objects are kept."""
    catalogue = (
        "a PostgreSQL of its own" if configuration.own_database
        else "the PostgreSQL that you named" if configuration.store
        else "a file of this machine (SQLite)"
    )  # fmt: skip
    objects = "in folders alone"
    if configuration.own_objects_port:
        objects = f"in folders, and as objects in a SeaweedFS of its own ({configuration.objects})"
    elif configuration.objects:
        objects = f"in folders, and as objects in {configuration.objects}"
        if configuration.objects == own_objects.FOLDER:
            objects += ", a folder too, since SeaweedFS (weed, with boto3) is not on this machine"
    return f"The desk's catalogue is {catalogue}; visits are kept {objects}."


def _service(folder: Path) -> str:
    """Return a unit for systemd: the same command runs in a container as it is, as the user who founded it."""
    user = "" if os.geteuid() == 0 else f"User={pwd.getpwuid(os.geteuid()).pw_name}\n"
    return (
        "[Unit]\nDescription=Handsfree company\nAfter=network-online.target\nWants=network-online.target\n\n"
        f'[Service]\nExecStart={sys.executable} -m handsfree.commands.app company run "{folder.resolve()}"\n'
        f"{user}Restart=always\nRestartSec=2\nNoNewPrivileges=yes\nPrivateTmp=yes\nProtectSystem=strict\n"
        f'ReadWritePaths="{folder.resolve()}"\n\n[Install]\nWantedBy=multi-user.target\n'
    )
