"""The key that seals the next entry of a visit, kept on the device that records it.

It lies in the device's state folder, not beside the record, so that a copied or exported record carries
no key. The file is named by the digest of the record's first line, so a moved or renamed folder still finds
it. When the visit closes the key is gone, and the count and digest of the closed record remain as a witness.
"""

from __future__ import annotations

import errno
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.ledger.files import Files, ensure_folder
from handsfree.ledger.head import Head
from handsfree.ledger.ratchet import Secret
from handsfree.ledger.slots import Slots
from handsfree.problem import ExitCode, Problem


@dataclass(frozen=True)
class Kept:
    """What the device knows of a visit: the head that it acknowledged, and the secret for what comes next."""

    head: Head
    secret: Secret | None

    def as_json(self) -> dict[str, Any]:
        """Return the members as they lie in the key file."""
        secret = "" if self.secret is None else self.secret.value.hex()
        return {"turn": self.head.count, "head": self.head.digest, "secret": secret}

    @staticmethod
    def of_json(members: dict[str, Any]) -> Kept:
        """Return what such members say."""
        secret = Secret(bytes.fromhex(members["secret"])) if members["secret"] else None
        return Kept(Head(members["turn"], members["head"]), secret)


class SealingKey:
    """The key file of one visit on this device."""

    def __init__(self, files: Files, state: Path, identity: str) -> None:
        self._files, self._folder = files, state / "visits"
        self._slots = Slots(files, self._folder / f"{identity}.key")
        self._lock = self._folder / f"{identity}.lock"

    def create(self, kept: Kept) -> None:
        """Make the file."""
        self._slots.create(kept.as_json())

    def hold(self) -> Callable[[], None]:
        """Become the only writer of the visit; return what ends that. Raises Problem when there is another."""
        try:
            ensure_folder(self._files, self._folder, 0o700)
            return self._files.lock(self._lock, 0)
        except TimeoutError:
            raise Problem(
                "another program is writing this visit",
                remedy="close that one first",
                code=ExitCode.FAILED,
            ) from None

    def settle(self) -> Kept:
        """Return what is kept, for the writer; Problem when this device has no key for the visit."""
        try:
            return Kept.of_json(self._slots.settle())
        except FileNotFoundError as error:
            raise Problem(
                "this device holds no sealing key for this visit",
                remedy="it can be read and verified here, and continued only on the device that began it",
            ) from error

    def read(self) -> Kept | None:
        """Return what is kept, for a verifier; None when this device knows nothing of the visit."""
        try:
            return Kept.of_json(self._slots.read())
        except OSError as error:
            if error.errno in {errno.ENOENT, errno.EACCES}:
                return None
            raise

    def write(self, kept: Kept) -> None:
        """Replace what is kept; the old secret is overwritten when this returns."""
        self._slots.write(kept.as_json())
