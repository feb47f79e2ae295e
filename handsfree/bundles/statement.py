"""What an author signs of a procedure: that a version of it is approved until a day, or that it is withdrawn.

A statement is an object in canonical form (RFC 8785) with a member `signature` as `office/signatures.py` makes it,
over the statement without that member.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from handsfree.bundles.version import PATTERN
from handsfree.ledger.clock import milliseconds, stamp
from handsfree.ledger.entry import canonical
from handsfree.office.enrolment import EnrolledKey, Enrolment, Role
from handsfree.office.signatures import MISSHAPEN, Signer, fault_of, signatures
from handsfree.problem import ExitCode, Problem

LONGEST_STATEMENT = 256_000
LONGEST_REASON = 400
MOST_DAYS = 1096
"""Three years, for which an approval lasts at most; so a device that nothing reaches any more stops at last."""
DAY_MS = 86_400_000

Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=60)]
Version = Annotated[str, Field(pattern=PATTERN)]
Text = Annotated[str, Field(max_length=400)]


class _Signed(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class SignedBy(_Signed):
    """Who signed: their key, their name and their role, as the enrolment list has them."""

    key: Digest
    name: Text
    role: Literal["author"]


class StoriesTold(_Signed):
    """What came of the stories: how many went as told, and how many of all gates and ways they cover."""

    told: int
    gates: tuple[int, int]
    ways: tuple[int, int]


class ProvenWith(_Signed):
    """The program that proved it: its version, its deciding code, its libraries, its lock and its speech model."""

    program: Text
    decision_version: Text
    versions: dict[str, str]
    lock_sha256: Digest | None
    model: Text


class AuthorsStatement(_Signed):
    """What every signed statement holds: when it was signed, and by whom."""

    format: Literal[1]
    at: str
    by: SignedBy
    signature: dict[str, Any]

    @field_validator("at", "valid_until", check_fields=False)
    @classmethod
    def _time(cls, text: str) -> str:
        milliseconds(text)
        return text

    @property
    def author(self) -> str:
        """The name of whoever signed."""
        return self.by.name


class Approval(AuthorsStatement):
    """One version of a procedure, whole: approved by an author from a time on, until another."""

    procedure: Name
    kind: Literal["procedure-approved"] = "procedure-approved"
    version: Version
    title: Text
    trade: Name
    language: Name
    procedure_sha256: Digest
    """The version of the procedure as run: over all its files in the order they are read."""
    files: dict[str, Digest]
    """Every other file of the bundle, by its name in there."""
    valid_until: str
    after: Version | None
    """The version that it was held against."""
    weight: Literal["first", "looser", "tighter", "wording", "neutral", "renewed"]
    """The gravest change since then."""
    proofs: tuple[str, ...]
    """The proofs that hold, all of them."""
    stories: StoriesTold
    proven_with: ProvenWith


class Withdrawal(AuthorsStatement):
    """Versions of a procedure, or of a sheet of maker's data, that nobody may be led by any more."""

    procedure: Name
    """The procedure's name, or the sheet's."""
    kind: Literal["procedure-withdrawn"] = "procedure-withdrawn"
    versions: Annotated[tuple[Version, ...], Field(min_length=1, max_length=100)]
    why: Annotated[str, Field(min_length=1, max_length=LONGEST_REASON)]


AnyStatement = TypeVar("AnyStatement", bound=AuthorsStatement)


def signed(
    model: type[AnyStatement], says: Mapping[str, Any], author: EnrolledKey, signer: Signer
) -> AnyStatement:
    """Return a statement signed by an enrolled author; pydantic's ValidationError when it says what it may not."""
    by = {"key": author.key, "name": author.name, "role": author.role.value}
    members = {"kind": model.model_fields["kind"].default, "format": 1, **says, "by": by}
    (signature,) = signatures([canonical(members)], signer)
    return model.model_validate_json(canonical({**members, "signature": signature}))


def line_of(statement: AuthorsStatement) -> bytes:
    """Return a statement as it is kept."""
    return canonical(statement.model_dump(mode="json"))


def read_statement(model: type[AnyStatement], line: bytes, where: str) -> AnyStatement:
    """Return the statement that a line holds, its signature verified; Problem when it is none or does not hold."""
    try:
        if len(line) > LONGEST_STATEMENT:
            raise ValueError("too long")
        found = model.model_validate_json(line)
        members = found.model_dump(mode="json")
        if canonical(members) != line:
            raise ValueError("not in canonical form")
        unsigned = {name: value for name, value in members.items() if name != "signature"}
        fault = fault_of(found.signature, canonical(unsigned), found.by.key)
    except (ValidationError, *MISSHAPEN) as error:
        raise Problem("this is nothing that an author signed", where=where, code=ExitCode.FAILED) from error
    if fault:
        raise Problem(f"what was signed does not hold: {fault}", where=where, code=ExitCode.FAILED)
    return found


def fault_of_author(statement: AuthorsStatement, enrolment: Enrolment, now: int | None = None) -> str:
    """Return why the list does not vouch for whoever signed; empty when it names them as author at that time.

    With `now`, in ms since 1970, their key must stand then as well: a key that was revoked can date back.
    """
    by = statement.by
    listed = enrolment.find(by.key)
    if listed is None:
        return f"the key of {by.name}, who signed it, is not enrolled"
    if listed.name != by.name or listed.role is not Role.AUTHOR:
        return f"the key that signed for author {by.name} is that of {listed.role} {listed.name}"
    if not listed.valid_at(statement.at):
        return f"{by.name} was not enrolled as author at {statement.at}"
    if now is not None and not listed.valid_at(max(statement.at, stamp(now))):
        return f"{by.name} is author no more since {listed.valid_until}, and this was not here before"
    return ""
