"""One line of the record: the envelope around an event, in its canonical form.

The canonical form is RFC 8785 (JSON Canonicalization Scheme). A line is that form and a line feed; its
digest is the SHA-256 of the line without the line feed; its seal is an Ed25519 signature (RFC 8032) over
the canonical form of the entry without the member `seal`.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NoReturn

import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.ledger.clock import Moment, milliseconds, stamp
from handsfree.ledger.device import DeviceProof
from handsfree.ledger.kinds import is_digest
from handsfree.problem import Problem

FORMAT = 1
"""The version of the format described in FORMAT.md; it stands in the first entry."""

NOTHING_BEFORE = "0" * 64
"""What stands for the digest of the previous line where there is none."""

_ALWAYS = frozenset(
    {"at", "boot", "event", "kind", "mono", "next_key", "prev", "seal", "seq", "to_come"},
)
_FIRST = _ALWAYS | {"device", "format"}
_SEAL = re.compile(r"[0-9a-f]{128}")
_MOST = 2**53 - 1
_ASTRAL = re.compile("[\U00010000-\U0010ffff]")
_PLAIN_FORM = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"))
"""Gives the RFC 8785 form where numbers are whole, up to 2^53 - 1, and names sort by UTF-16 as by code points."""


class Malformed(Exception):  # noqa: N818 - it describes the line, and never reaches a person as such
    """A line that is not a canonical entry; the text says why."""


class NewerFormat(Problem):
    """A first entry that says it is of a format this program does not know; `members` are what it holds."""

    def __init__(self, members: dict[str, Any]) -> None:
        super().__init__(
            f"the record is of format {members['format']} and this program knows formats up to {FORMAT}",
            remedy="read it with a newer version of the program",
        )
        self.members = members


@dataclass(frozen=True)
class Entry:
    """An event in its envelope.

    `at` is RFC 3339 UTC to the millisecond, `mono` milliseconds of a clock that never jumps within one
    `boot`, `to_come` the number of entries of the same batch that follow, `device` the proof that the
    enrolled device sealed this entry (the first entry only), `line` the bytes on disk without line feed.
    """

    seq: int
    kind: str
    at: str
    mono: int
    boot: str
    prev: str
    event: Mapping[str, Any]
    to_come: int
    next_key: str
    seal: str
    device: DeviceProof | None = None
    line: bytes = field(default=b"", repr=False)

    @cached_property
    def digest(self) -> str:
        """The SHA-256 of the line in hex: what the next entry carries as `prev`."""
        return digest_of(self.line)

    @cached_property
    def wall(self) -> int:
        """`at` as milliseconds since 1970-01-01T00:00:00Z."""
        return milliseconds(self.at)

    @property
    def unsealed(self) -> bytes:
        """The bytes that the seal signs."""
        ending = _ending(self.seq, self.to_come)
        return self.line[: -len(ending) - len(_seal_member(self.seal))] + ending


def digest_of(line: bytes) -> str:
    """Return the SHA-256 of a line (without its line feed) in lower-case hex."""
    return hashlib.sha256(line).hexdigest()


def canonical(value: Mapping[str, Any]) -> bytes:
    """Return the RFC 8785 form of an object of strings, integers, truth values, null, lists and objects.

    Floats raise TypeError: a reading is an exact decimal and travels as a string. Integers beyond
    2^53 - 1 and text that is not Unicode raise ValueError.
    """
    _refuse_inexact(value, "event")
    try:
        return rfc8785.dumps(dict(value))
    except ValueError as error:
        raise ValueError(f"event: {error}") from error


def sealed(
    *,
    seq: int,
    kind: str,
    event: Mapping[str, Any],
    moment: Moment,
    prev: str,
    to_come: int,
    next_key: bytes,
    signer: Ed25519PrivateKey,
    device: DeviceProof | None = None,
) -> Entry:
    """Return the entry of an event, signed; `next_key` is the public key that will seal the next entry."""
    members: dict[str, Any] = {
        "at": stamp(moment.wall),
        "boot": moment.boot,
        "event": event,
        "kind": kind,
        "mono": moment.mono,
        "next_key": next_key.hex(),
        "prev": prev,
        "seq": seq,
        "to_come": to_come,
    }
    if device is not None:
        members |= {"device": device.as_json(), "format": FORMAT}
    unsealed = canonical(members)
    seal = signer.sign(unsealed).hex()
    ending = _ending(seq, to_come)
    return entry_of(unsealed[: -len(ending)] + _seal_member(seal) + ending)


def entry_of(line: bytes) -> Entry:
    """Return the entry that stands on a line (without its line feed).

    Raises Malformed when the line is not the canonical form of an entry, and NewerFormat, a Problem, when
    it says it is of a newer format. The seal and the chain are not looked at here.
    """
    try:
        text = line.decode()
        members = json.loads(text, parse_int=_exact, parse_float=_refuse_number, parse_constant=_refuse_number)
        again = rfc8785.dumps(members) if _ASTRAL.search(text) else _PLAIN_FORM.encode(members).encode()
    except (ValueError, RecursionError) as error:
        raise Malformed(f"it is not JSON of this format ({error})") from error
    if not isinstance(members, dict):
        raise Malformed("it is not a JSON object")
    version = members.get("format")
    if type(version) is int and version > FORMAT:
        raise NewerFormat(members)
    if again != line:
        raise Malformed("it is not in canonical form")
    _refuse_misshapen(members)
    device = members.pop("device", None)
    members.pop("format", None)
    try:
        entry = Entry(**members, device=None if device is None else DeviceProof.of_json(device), line=line)
        entry.wall  # noqa: B018 - a date that is none is told here
    except ValueError as error:
        raise Malformed(str(error)) from error
    return entry


def members_named(event: Any, name: str) -> Iterator[Any]:
    """Yield the value of every member of that name, at any depth of an event."""
    if isinstance(event, Mapping):
        for key, value in event.items():
            if key == name:
                yield value
            yield from members_named(value, name)
    elif isinstance(event, list | tuple):
        for value in event:
            yield from members_named(value, name)


def _ending(seq: int, to_come: int) -> bytes:
    return f',"seq":{seq},"to_come":{to_come}}}'.encode()


def _seal_member(seal: str) -> bytes:
    return f',"seal":"{seal}"'.encode()


def _exact(text: str) -> int:
    number = int(text)
    if abs(number) > _MOST:
        raise ValueError(f"the number {text[:40]} is beyond 2^53 - 1")
    return number


def _refuse_number(text: str) -> NoReturn:
    raise ValueError(f"the number {text} is not an integer")


def _refuse_inexact(value: Any, where: str) -> None:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str):
                raise TypeError(f"{where}: member names are strings, not {key!r}")
            _refuse_inexact(inner, f"{where}.{key}")
    elif isinstance(value, Sequence) and not isinstance(value, str | bytes | bytearray):
        for index, inner in enumerate(value):
            _refuse_inexact(inner, f"{where}[{index}]")
    elif not (value is None or isinstance(value, str | int)):
        raise TypeError(
            f"{where}: {type(value).__name__} does not belong in the record; write decimals as strings",
        )


def _refuse_misshapen(members: Mapping[str, Any]) -> None:
    expected = _FIRST if members.get("seq") == 0 else _ALWAYS
    if members.keys() != expected:
        odd = ", ".join(sorted(members.keys() ^ expected))
        raise Malformed(f"its members are not those of an entry ({odd})")
    seq, mono, to_come = members["seq"], members["mono"], members["to_come"]
    if not (type(seq) is type(mono) is type(to_come) is int and seq >= 0 and mono >= 0 and to_come >= 0):
        raise Malformed("a count or the steady clock is not a whole number")
    if not isinstance(members["event"], dict):
        raise Malformed("its event is not an object")
    texts = (
        members["at"],
        members["boot"],
        members["kind"],
        members["next_key"],
        members["prev"],
        members["seal"],
    )
    for text in texts:
        if not isinstance(text, str) or not text:
            raise Malformed("a member that must be text is not")
    if not (is_digest(members["next_key"]) and is_digest(members["prev"]) and _SEAL.fullmatch(members["seal"])):
        raise Malformed("a key, a digest or the seal is not lower-case hex of the right length")
