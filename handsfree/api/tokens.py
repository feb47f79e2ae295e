"""Tokens with which programs read: each has a name, scopes and perhaps offices; only its SHA-256 is kept."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from pathlib import Path

from handsfree.ledger.clock import SystemClock, stamp
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.problem import ExitCode, Problem

FILE = "api-tokens.json"
PREFIX = "hf_"
"""So that a token that leaks into a file is found by those who search files for secrets."""
LONGEST_NAME = 80


class TokenScope(StrEnum):
    """What a token may read."""

    VISITS = "visits"
    HAZARDS = "hazards"
    CALENDAR = "calendar"


@dataclass(frozen=True)
class ApiToken:
    """One token as it is kept; `offices` are those whose visits it sees, all where None."""

    name: str
    scopes: tuple[TokenScope, ...]
    digest: str
    made: str
    offices: tuple[str, ...] | None = None
    revoked: str = ""


class ApiTokens:
    """The tokens of an office, in a file of its state folder that its owner alone reads."""

    def __init__(self, state: Path) -> None:
        self._path = state / FILE

    def make(self, name: str, scopes: Sequence[TokenScope], offices: Sequence[str] | None = None) -> str:
        """Make a token and return it; it is told this once. Problem when the name is taken or none."""
        if not name.strip() or len(name) > LONGEST_NAME or not name.isprintable():
            raise Problem(f"a name is 1 to {LONGEST_NAME} printed characters", where=repr(name))
        if not scopes:
            raise Problem("a token needs a scope", remedy=f"--scope: {', '.join(TokenScope)}")
        kept = self.all()
        if any(each.name == name and not each.revoked for each in kept):
            raise Problem("there is a token of this name", where=name, remedy="revoke it, or take another name")
        token = PREFIX + secrets.token_urlsafe(32)
        now = stamp(SystemClock().now().wall)
        seen = None if offices is None else tuple(offices)
        self._keep([*kept, ApiToken(name, tuple(dict.fromkeys(scopes)), _digest(token), now, seen)])
        return token

    def revoke(self, name: str) -> None:
        """End a token at once; Problem when none of this name stands."""
        kept, now = self.all(), stamp(SystemClock().now().wall)
        if not any(each.name == name and not each.revoked for each in kept):
            raise Problem("no token of this name stands", where=name, remedy="look at: handsfree api list")
        self._keep([replace(each, revoked=each.revoked or now) if each.name == name else each for each in kept])

    def find(self, token: str) -> ApiToken | None:
        """Return the token that stands under this secret; the list is read each time, so a revocation counts."""
        digest = _digest(token)
        return next((each for each in self.all() if hmac.compare_digest(each.digest, digest) and not each.revoked),
                    None)  # fmt: skip

    def all(self) -> list[ApiToken]:
        """Return all tokens, those that were revoked too; Problem when the file cannot be read."""
        try:
            listed = json.loads(contents(Disk(), self._path))
            return [
                ApiToken(
                    one["name"], tuple(map(TokenScope, one["scopes"])), one["digest"], one["made"],
                    None if one["offices"] is None else tuple(one["offices"]), one["revoked"],
                )
                for one in listed
            ]  # fmt: skip
        except FileNotFoundError:
            return []
        except OSError as error:
            raise disk_problem(error, "reading the tokens", self._path) from error
        except (ValueError, KeyError, TypeError) as error:
            raise Problem("the file of tokens is damaged", where=str(self._path), code=ExitCode.FAILED) from error

    def _keep(self, tokens: list[ApiToken]) -> None:
        try:
            ensure_folder(Disk(), self._path.parent, 0o700)
            put(Disk(), self._path, json.dumps([asdict(each) for each in tokens], indent=1).encode(), mode=0o600)
        except OSError as error:
            raise disk_problem(error, "keeping the tokens", self._path) from error


def _digest(token: str) -> str:
    """Return the SHA-256 of a token: it has 256 random bits, so no slow hash is needed."""
    return hashlib.sha256(token.encode()).hexdigest()
