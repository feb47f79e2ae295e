"""A real PostgreSQL of Debian's package for the tests: a folder of its own, a socket, no port, no password.

The server refuses to run as root, so root lends it to the package's own user.
"""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NOT_FOUND = "PostgreSQL's server programs are not installed here"


def programs() -> Path | None:
    """Return the folder of the newest server's programs; None when there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


@contextmanager
def server() -> Iterator[str]:
    """Yield the address of a new server, with a blank for the name of a database."""
    there = programs()
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
            yield f"postgresql://office@/{{}}?host={folder}"
        finally:
            run("pg_ctl", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
