"""What a company's machine serves, as `company.json` in the company's folder says it."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handsfree.ledger.files import Disk, contents, disk_problem, put
from handsfree.problem import Problem

FILE = "company.json"
OUTGOING = "outgoing"
"""The folder whose files go to devices by themselves (`handsfree/handover/dispatch.py`)."""


class CompanyConfiguration(BaseModel):
    """The machine's settings; whoever keeps the machine may edit the file."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(min_length=1, max_length=80, description="The company's name, as receipts' readers know it.")
    names: tuple[str, ...] = Field(
        default=(), description="Names and addresses at which devices reach the machine."
    )
    office_host: str = Field(default="0.0.0.0", description="Where devices are listened for.")  # noqa: S104 - they come from outside
    office_port: int = Field(default=8471, ge=0, le=65535)
    desk_host: str = Field(default="127.0.0.1", description="Where supervisors are listened for.")
    desk_port: int = Field(default=8470, ge=0, le=65535)
    store: str = Field(
        default="",
        pattern=r"^(postgresql://.*)?$",
        description="The PostgreSQL in which the desk keeps what it examined; empty for a file of its own.",
    )
    objects: str = Field(
        default="", description="Where each visit is kept as an object too: a folder, or s3://BUCKET/PREFIX."
    )
    own_database: bool = Field(
        default=False, description="Whether that PostgreSQL is the company's own, run beneath its folder."
    )
    own_objects_port: int = Field(
        default=0,
        ge=0,
        le=55_532,
        description="The first of four ports of an object store of the company's own; none is run where 0.",
    )


def state_of(folder: Path) -> Path:
    """Return where a company keeps its keys, its list, its log and its receipts."""
    return folder / "state"


def visits_of(folder: Path) -> Path:
    """Return where a company's visits lie."""
    return folder / "visits"


def cache_of(folder: Path) -> Path:
    """Return where a company's processes keep what can be made again at any time."""
    return folder / "cache"


def read_configuration(folder: Path) -> CompanyConfiguration:
    """Return a company's settings; Problem, naming the member, when they are none."""
    path = folder / FILE
    try:
        return CompanyConfiguration.model_validate_json(contents(Disk(), path))
    except FileNotFoundError:
        raise Problem(
            "there is no company here", where=str(folder), remedy="make one: handsfree company init"
        ) from None
    except OSError as error:
        raise disk_problem(error, "reading the company's settings", path) from error
    except ValidationError as error:
        first = error.errors()[0]
        member = ".".join(map(str, first["loc"])) or "the file"
        raise Problem(f"{member}: {first['msg'].lower()}", where=str(path), remedy="correct it") from error


def write_configuration(folder: Path, configuration: CompanyConfiguration) -> None:
    """Write a company's settings."""
    path = folder / FILE
    try:
        put(Disk(), path, configuration.model_dump_json(indent=1).encode() + b"\n")
    except OSError as error:
        raise disk_problem(error, "writing the company's settings", path) from error
