"""The command `handsfree`: its options, and one way to tell a person of a problem."""

from __future__ import annotations

import errno
import gc
import sys

import typer

from handsfree import __version__
from handsfree.commands.families import Families, with_settings
from handsfree.problem import ExitCode, Problem

app = with_settings(
    cls=Families,
    help="Leads a heating technician through combustion set-up by voice, gate by gate, and keeps the record.",
    epilog="For licensed people. The maker's manual and local code come first; this tool clears no hazard.",
    no_args_is_help=True,
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"handsfree {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: bool = typer.Option(False, "--version", callback=_version, is_eager=True, help="Print the version."),
) -> None:
    """Lead a visit by voice, check its record, write its procedures."""


OBJECTS_BETWEEN_SEARCHES = 50_000
"""Made between two searches for garbage: there is hardly any, so that Python's 700 would search in vain."""


def main() -> None:
    """Run the command line; a Problem becomes one sentence and an exit code, never a traceback."""
    gc.set_threshold(OBJECTS_BETWEEN_SEARCHES)
    try:
        app(standalone_mode=True)
    except Problem as problem:
        from rich.console import Console  # noqa: PLC0415 - not needed where nothing is wrong

        Console(stderr=True, soft_wrap=True).print(problem.sentence(), markup=False, highlight=False)
        sys.exit(problem.code)
    except KeyboardInterrupt:
        sys.stderr.write("\nInterrupted.\n")
        sys.exit(ExitCode.LEFT_OPEN)
    except BrokenPipeError:
        sys.exit(ExitCode.DONE)
    except OSError as error:
        if error.errno not in {errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EDQUOT, errno.EIO}:
            raise
        sys.stderr.write(f"{error.filename or 'disk'}: {error.strerror}; free space or choose another folder\n")
        sys.exit(ExitCode.FAILED)


if __name__ == "__main__":
    main()
