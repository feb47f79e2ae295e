"""Where the files that ship with the program are: inside the installed package, or beside it in a checkout."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from handsfree.problem import Problem

_PACKAGE = Path(str(resources.files("handsfree")))


def _folder(name: str) -> Path:
    installed = _PACKAGE / "shipped" / name
    return installed if installed.is_dir() else _PACKAGE.parent / name


def model_folder() -> Path:
    """Return the folder of our speech model."""
    return _folder("models") / "english"


def procedures_folder() -> Path:
    """Return the folder of the shipped procedures."""
    return _folder("procedures")


def shipped_procedures() -> list[Path]:
    """Return every procedure that ships, parts too; what stands beside them as `NAME.KIND.yaml` is none."""
    return sorted(path for path in procedures_folder().glob("*.yaml") if "." not in path.stem)


def example_job_sheet() -> Path:
    """Return the invented job sheet of the demo, for a trade that brings none of its own."""
    return _PACKAGE / "demo" / "jobsheet.yaml"


def lock_file() -> Path | None:
    """Return the lock of what the program runs with, or None in a copy that carries none."""
    files = (folder / "locks" / "program.txt" for folder in (_PACKAGE / "shipped", _PACKAGE.parent / ".ci"))
    return next((file for file in files if file.is_file()), None)


def file_or_shipped(given: Path) -> Path:
    """Return a file as it is given; where there is none, the shipped procedure of that name, if there is one."""
    shipped = procedures_folder() / f"{given}.yaml"
    return shipped if not given.exists() and not given.suffix and shipped.is_file() else given


def procedure_path(name: str) -> Path:
    """Return the file of a procedure given by path or by the name of a shipped one; Problem when there is none."""
    given = Path(name)
    if given.is_file():
        return given
    shipped = procedures_folder() / f"{name}.yaml"
    if shipped.is_file():
        return shipped
    known = ", ".join(path.stem for path in shipped_procedures())
    raise Problem("there is no such procedure", where=name, remedy=f"give a file, or one of: {known}")
