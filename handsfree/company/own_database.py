"""A PostgreSQL of the company's own, from Debian's package: in its folder, reached by a socket and no network.

The server refuses to run as root, so root lends it to the package's own user; else it runs as whoever made it. Its
superuser is that user of the machine, known by the kernel (`peer`). The desk comes by password, as a role that
owns its database and may do nothing else.
"""

from __future__ import annotations

import os
import pwd
import secrets
import shutil
import subprocess
from pathlib import Path
from urllib.parse import quote

from handsfree.ledger.files import Disk, put
from handsfree.problem import Problem, one_line

FOLDER = "postgresql"
PASSWORDS = "pgpass"
DEBIANS_USER = "postgres"
_ROLE, _DATABASE = "company", "visits"
_LONGEST_SOCKET = 107
"""Bytes that the address of a socket may have: sun_path of unix(7), less the byte that ends it."""
_SOCKET = ".s.PGSQL.5432"
_LOG = [  # a week of it, in data/log
    "-c", "logging_collector=on", "-c", "log_filename=postgresql-%a.log", "-c", "log_truncate_on_rotation=on",
]  # fmt: skip
_WHO = f"local {_DATABASE} {_ROLE} scram-sha-256\nlocal all all peer\n"


def server_programs() -> Path | None:
    """Return the folder of the newest server's programs; None where there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


def make_database(folder: Path, passwords: Path) -> None:
    """Make the cluster, its role and its database beneath a company's folder; the password goes into a file.

    Raises Problem when the programs are missing or refuse.
    """
    programs, there = must_have_server(folder), folder / FOLDER
    there.mkdir(0o700)
    if os.geteuid() == 0:
        shutil.chown(there, DEBIANS_USER, DEBIANS_USER)
        folder.chmod(0o711)  # passed through, and not looked into, by that user
    data, password = there / "data", secrets.token_urlsafe(24)
    _run(there, [programs / "initdb", "-D", data, "-A", "peer", "-E", "UTF8", "--locale=C.UTF-8"])
    (data / "pg_hba.conf").write_text(_WHO)
    _run(
        there,
        [programs / "postgres", "--single", "-D", data, "postgres"],
        f"CREATE ROLE {_ROLE} LOGIN PASSWORD '{password}'\nCREATE DATABASE {_DATABASE} OWNER {_ROLE}\n",
    )
    put(Disk(), passwords, f"*:*:{_DATABASE}:{_ROLE}:{password}\n".encode(), 0o600)


def must_have_server(folder: Path) -> Path:
    """Return the folder of the server's programs; Problem when they, or a place for the socket, are missing."""
    if len(os.fsencode(folder / FOLDER / _SOCKET)) > _LONGEST_SOCKET:
        raise Problem("this path is too long for PostgreSQL's socket", where=str(folder),
                      remedy="choose a shorter one")  # fmt: skip
    if (programs := server_programs()) is None:
        raise Problem("there is no PostgreSQL on this machine",
                      remedy="apt-get install postgresql, or go without: --embedded")  # fmt: skip
    return programs


def address_of(folder: Path) -> str:
    """Return the address of a company's own database, without its password."""
    return f"postgresql://{_ROLE}@/{_DATABASE}?host={quote(str(folder / FOLDER))}"


def serving(folder: Path) -> list[str]:
    """Return the command line of the server, for whoever owns its folder."""
    there = folder / FOLDER
    return [
        *as_owner(there), str(must_have_server(folder) / "postgres"), "-D", str(there / "data"),
        "-c", "listen_addresses=", "-c", f"unix_socket_directories={there}", *_LOG,
    ]  # fmt: skip


def answers(folder: Path) -> bool:
    """Say whether the server takes connections."""
    program = must_have_server(folder) / "pg_isready"
    asked = [str(program), "-q", "-h", str(folder / FOLDER), "-U", _ROLE, "-d", _DATABASE]
    return subprocess.run(asked, check=False, timeout=10).returncode == 0  # noqa: S603 - PostgreSQL's own


def as_owner(there: Path) -> list[str]:
    """Return what makes a command run as whoever owns a folder; nothing where that is the one who runs it."""
    owner = there.stat().st_uid
    if owner == os.geteuid():
        return []
    user = pwd.getpwuid(owner)
    return ["setpriv", f"--reuid={user.pw_name}", f"--regid={user.pw_gid}", "--init-groups"]


def _run(there: Path, command: list[str | Path], says: str = "") -> None:
    """Run a program of PostgreSQL as the owner of its folder; Problem, with its last word, when it fails."""
    whole = [*as_owner(there), *map(str, command)]
    try:
        done = subprocess.run(whole, cwd="/", input=says, capture_output=True, text=True, check=False)  # noqa: S603
    except OSError as error:
        raise Problem(f"PostgreSQL cannot be set up ({error.strerror}: {whole[0]})", where=str(there)) from error
    told = (done.stderr.strip().splitlines() or [""])[-1]
    if done.returncode or "ERROR:" in done.stderr:
        raise Problem(
            one_line(f"PostgreSQL cannot be set up: {told}"), where=str(there),
            remedy=f"let the user {DEBIANS_USER} pass through the folders above" if os.geteuid() == 0 else None,
        )  # fmt: skip
