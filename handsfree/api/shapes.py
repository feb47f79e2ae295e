"""The shapes that the API gives, as models: the OpenAPI description is made from them."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from handsfree.store.kept import Concern, VisitRow


class _Shape(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class ApiVisit(_Shape):
    """One visit, as its examination found it."""

    key: str = Field(description="Names the visit's folder at this office.")
    identity: str = Field(description="SHA-256 of its first entry (hex): names the visit anywhere.")
    job: str
    site: str
    office: str
    technician: str
    appliance: str
    serial: str
    instrument: str
    instrument_serial: str
    procedure: str
    day: str = Field(description="The day of the visit (ISO 8601).")
    opened_at: str = Field(description="When its first entry was written (RFC 3339).")
    outcome: str = Field(description="How it ended; `open` while it has not.")
    seal: str = Field(description="What verification says: closed, reduced, open, broken, unchecked, unreadable.")
    anchor: str = Field(description="Who vouches for the device that sealed it.")
    summary: str
    fails: int = Field(description="Items of the list that fail.")
    unsure: int = Field(description="Items that cannot be told.")
    not_done: int
    verdict: str = Field(description="What a supervisor signed; empty while nobody has.")


class ApiHazard(_Shape):
    """One thing of a visit that is not resolved."""

    visit: str = Field(description="The key of the visit.")
    serial: str
    day: str
    kind: str
    says: str
    weight: int = Field(description="How much it matters, by the desk's order of attention.")
    entry: int | None = Field(description="The number of the entry that shows it.")


class ApiVisitPage(_Shape):
    """A page of visits; `next` is the address of the following one, empty on the last."""

    total: int
    items: list[ApiVisit]
    next: str


class ApiHazardPage(_Shape):
    """What is open of a page of visits that wait for a verdict, gravest first."""

    items: list[ApiHazard]
    next: str


class ApiProblem(_Shape):
    """What is wrong with a request."""

    problem: str


def visit_of(row: VisitRow) -> ApiVisit:
    """Return what the API tells of a visit."""
    names = [name for name in ApiVisit.model_fields if name != "verdict"]
    return ApiVisit(**{name: getattr(row, name) for name in names}, verdict=row.signed)


def hazard_of(row: VisitRow, concern: Concern) -> ApiHazard:
    """Return what the API tells of something unresolved."""
    return ApiHazard(visit=row.key, serial=row.serial, day=row.day, kind=concern.kind, says=concern.says,
                     weight=concern.weight, entry=concern.seq)  # fmt: skip
