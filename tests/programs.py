"""How the tests start the program: as a process of its own, by the interpreter that runs them."""

from __future__ import annotations

import sys
from subprocess import Popen

PROGRAM = (sys.executable, "-m", "handsfree.commands.app")


def program(*arguments: object) -> list[str]:
    """Return the command line of the program."""
    return [*PROGRAM, *map(str, arguments)]


def keyed_visit(procedure: object, jobsheet: object, folder: object, *options: object) -> list[str]:
    """Return the command line of a visit by a file that nobody approved, led by keys and in silence."""
    sheet = ("--jobsheet", jobsheet)
    return program("visit", procedure, "--draft", *sheet, "--typed", "--silent", "--out", folder, *options)


def page_address(process: Popen[str]) -> str:
    """Return the address of the phone's page that a visit prints, after whatever it says of its sheets."""
    assert process.stderr is not None
    told = []
    for line in process.stderr:
        if line.lstrip().startswith("http"):
            return line.strip()
        told.append(line)
    raise AssertionError("no address was printed, but " + "".join(told))
