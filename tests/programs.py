"""How the tests start the program: as a process of its own, by the interpreter that runs them."""

from __future__ import annotations

import sys

PROGRAM = (sys.executable, "-m", "handsfree.commands.app")


def program(*arguments: object) -> list[str]:
    """Return the command line of the program."""
    return [*PROGRAM, *map(str, arguments)]


def keyed_visit(procedure: object, jobsheet: object, folder: object, *options: object) -> list[str]:
    """Return the command line of a visit by a file that nobody approved, led by keys and in silence."""
    sheet = ("--jobsheet", jobsheet)
    return program("visit", procedure, "--draft", *sheet, "--typed", "--silent", "--out", folder, *options)
