"""A person's data, kept beside the record so that it can be erased: the record itself holds a salted commitment.

A file of the folder `personal` is 32 random bytes, the salt, and then the payload: a name or free words as
UTF-8, a signature, a photo. Its name is the SHA-256 of all its bytes. An entry holds that as a member called
`commitment`, and texts that would hold it hold `personal:` and the same digits. Without the file nobody can tell
what it was.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.ledger.files import Disk, Files
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.visit import VisitFolder

SALT_BYTES = 32
LARGEST_PAYLOAD = 1 << 20
"""Bytes; a signature has a thirtieth of it."""
LONGEST_TEXT = 4_000
"""Bytes of a name or licence; a record may commit to anything, and one line of it as often as it likes."""
NOT_HERE = "(no longer here)"
"""What stands for a name whose file is gone; verification says why it is."""

SPOKEN_WORDS = 12
"""Of free words so many are spoken back."""

_IN_TEXT = re.compile(r"personal:([0-9a-f]{64})")


@dataclass(frozen=True)
class Committed:
    """A payload put away: the commitment (64 hex digits) and the file's bytes, salt first."""

    commitment: str
    file: bytes

    @property
    def in_text(self) -> str:
        """What stands in a text in the place of the payload."""
        return in_text(self.commitment)


def in_text(commitment: str) -> str:
    """Return what stands in a text in the place of what was committed to."""
    return f"personal:{commitment}"


def committed(payload: bytes) -> Committed:
    """Return a payload with a fresh salt."""
    file = secrets.token_bytes(SALT_BYTES) + payload
    return Committed(hashlib.sha256(file).hexdigest(), file)


@dataclass(frozen=True)
class PersonalDatum:
    """One piece that a record commits to: whose it is ("technician"), what it is ("name"), by which commitment."""

    commitment: str
    whose: str
    what: str


def data_in(event: Any) -> Iterator[PersonalDatum]:
    """Yield the pieces of personal data that an event commits to, at any depth."""
    if isinstance(event, Mapping):
        if is_digest(event.get("commitment")):
            whose, what = str(event.get("whose", "")), str(event.get("what", ""))
            yield PersonalDatum(str(event["commitment"]), whose, what)
        for value in event.values():
            yield from data_in(value)
    elif isinstance(event, list | tuple):
        for value in event:
            yield from data_in(value)


@dataclass(frozen=True)
class PersonalFiles:
    """The payloads of one visit, as far as they are here."""

    visit: VisitFolder
    files: Files

    def payload(self, commitment: str) -> bytes | None:
        """Return what was committed to; None when it is not here, the file is another, or beyond all size."""
        found = self.file(commitment)
        return None if found is None else found[SALT_BYTES:]

    def file(self, commitment: str) -> bytes | None:
        """Return the whole file of what was committed to, salt first; None as for `payload`."""
        if not is_digest(commitment):
            return None
        try:
            with self.files.read(self.visit.personal_file(commitment)) as stream:
                found = stream.read(SALT_BYTES + LARGEST_PAYLOAD + 1)
        except OSError:
            return None
        if len(found) > SALT_BYTES + LARGEST_PAYLOAD:
            return None
        return found if hashlib.sha256(found).hexdigest() == commitment else None

    def told(self, text: str) -> str:
        """Return a text with what it commits to put back in."""
        return _IN_TEXT.sub(self._put_back, text)

    def told_in_short(self, text: str) -> str:
        """Return a text with the first words of what it commits to put back in."""
        return _IN_TEXT.sub(lambda found: _short(self._put_back(found)), text)

    def told_in(self, value: Any) -> Any:
        """Return JSON values with all their texts as `told`."""
        if isinstance(value, str):
            return self.told(value)
        if isinstance(value, Mapping):
            return {name: self.told_in(each) for name, each in value.items()}
        if isinstance(value, list | tuple):
            return [self.told_in(each) for each in value]
        return value

    def _put_back(self, found: re.Match[str]) -> str:
        payload = self.payload(found[1])
        if payload is None or len(payload) > LONGEST_TEXT:
            return NOT_HERE
        return payload.decode("utf-8", "replace")


def _short(text: str) -> str:
    words = text.split()
    return " ".join(words) if len(words) <= SPOKEN_WORDS else f"{' '.join(words[:SPOKEN_WORDS])} …"


def commitments_in(text: str) -> list[str]:
    """Return what a text commits to, in order."""
    return _IN_TEXT.findall(text)


def holds_names(text: str) -> bool:
    """Say whether a text commits to something."""
    return _IN_TEXT.search(text) is not None


def names_of(folder: Path) -> PersonalFiles:
    """Return what lies beside the record in a folder."""
    return PersonalFiles(VisitFolder(folder), Disk())
