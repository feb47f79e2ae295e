"""A real PostgreSQL of Debian's package for the tests: a folder of its own, a socket, no port, no password.

The server refuses to run as root, so root lends it to the package's own user.
"""

import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from handsfree.company.own_database import server_programs

NOT_FOUND = "PostgreSQL's server programs are not installed here"


class Server:
    """A running server; `address` has a blank for the name of a database."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.data = folder, folder / "data"
        self.address = f"postgresql://office@/{{}}?host={folder}"

    def lose(self) -> None:
        """Kill it with all its processes, and delete everything it kept, as a machine is lost."""
        first = int((self.data / "postmaster.pid").read_text().split()[0])
        children = Path(f"/proc/{first}/task/{first}/children").read_text().split()
        for process in (first, *map(int, children)):
            os.kill(process, signal.SIGKILL)
        shutil.rmtree(self.data)


@contextmanager
def server() -> Iterator[Server]:
    """Yield a new server."""
    there = server_programs()
    assert there is not None
    folder = Path(tempfile.mkdtemp(prefix="handsfree-pg-"))
    folder.chmod(0o755)
    root = os.geteuid() == 0
    if root:
        shutil.chown(folder, "postgres")
    as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--init-groups"] if root else []

    def run(program: str, *options: str) -> None:
        command = [*as_user, str(there / program), *options]
        subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL)

    data = str(folder / "data")
    try:
        run("initdb", "-D", data, "-U", "office", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
        settings = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off -c max_connections=40"
        run("pg_ctl", "-D", data, "-w", "-l", str(folder / "log"), "-o", settings, "start")
        try:
            yield Server(folder)
        finally:
            if Path(data).exists():
                run("pg_ctl", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
