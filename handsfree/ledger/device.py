"""The device's own key, which seals the first entry of each visit.

The public key handed to the office is the root of a Merkle tree (RFC 9162) over some thousands of one-time
Ed25519 keys, in the order in which they will be used. Each use seals one thing; its secret is then turned
forward (`ratchet`) and overwritten. A thief of the device holds only the keys of uses to come, so cannot
make a visit that bears the number of an earlier one.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.ledger import merkle
from handsfree.ledger.files import Disk, Files, contents, disk_problem, ensure_folder, put
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.ratchet import Secret
from handsfree.ledger.slots import Slots
from handsfree.problem import ExitCode, Problem

USES = 4096
"""One-time keys of a new device: ten years at four hundred visits a year."""

_LOCK_SECONDS = 10.0


def state_folder(environment: Mapping[str, str] = os.environ) -> Path:
    """Return where this device keeps its secrets: HANDSFREE_STATE, or `handsfree` in the user's state folder."""
    if chosen := environment.get("HANDSFREE_STATE"):
        return Path(chosen)
    base = environment.get("XDG_STATE_HOME")
    return (Path(base) if base else Path.home() / ".local" / "state") / "handsfree"


@dataclass(frozen=True)
class DeviceProof:
    """That a one-time key belongs to a device.

    `key` is the device's public key (hex), `use` the number of this one-time key out of `uses`, `signer`
    its Ed25519 public key (hex), and `path` the inclusion proof from `signer` to `key`.
    """

    key: str
    use: int
    uses: int
    signer: str
    path: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the members as they stand in the record."""
        return {
            "key": self.key,
            "path": list(self.path),
            "signer": self.signer,
            "use": self.use,
            "uses": self.uses,
        }

    @staticmethod
    def of_json(members: Any) -> DeviceProof:
        """Return the proof that these members say; ValueError when they are not those of a proof."""
        if not isinstance(members, dict) or members.keys() != {"key", "path", "signer", "use", "uses"}:
            raise ValueError("its device proof has other members than a proof has")
        path, counts = members["path"], (members["use"], members["uses"])
        if not isinstance(path, list) or not all(type(count) is int for count in counts):
            raise ValueError("its device proof has members of the wrong kind")
        if not all(map(is_digest, [members["key"], members["signer"], *path])):
            raise ValueError("its device proof is not in lower-case hex of the right length")
        return DeviceProof(members["key"], *counts, members["signer"], tuple(path))

    def leads_to_key(self) -> bool:
        """Say whether the path leads from the one-time key to the device's public key."""
        steps = [bytes.fromhex(step) for step in self.path]
        return merkle.root_from(bytes.fromhex(self.signer), self.use, self.uses, steps) == bytes.fromhex(self.key)


class DeviceKey:
    """This device's key, kept in a state folder; it is made on first use, readable by its owner only."""

    def __init__(self, state: Path, files: Files | None = None, uses: int = USES) -> None:
        self._state, self._files, self._new_uses = state, files or Disk(), uses
        self._slots = Slots(self._files, state / "device.key")

    def public_key(self) -> str:
        """Return the public key to hand over, 64 hex digits; the key is made if there is none.

        Raises Problem when the state folder cannot be used.
        """
        with self._held() as value:
            key: str = value["key"]
            return key

    def use_next(self) -> tuple[DeviceProof, Ed25519PrivateKey]:
        """Return the next one-time key with its proof; its secret is gone from the device when this returns.

        Raises Problem when the state folder cannot be used or all keys are used up.
        """
        with self._held() as value:
            listed = contents(self._files, self._leaves(value["key"]))
            leaves = [bytes.fromhex(line) for line in listed.decode().split()]
            use = value["turn"]
            if use >= len(leaves):
                raise Problem(
                    f"all {len(leaves)} keys of this device are used up",
                    where=str(self._state),
                    remedy="make a new device key and hand its public key over",
                )
            secret = Secret(bytes.fromhex(value["secret"]))
            self._slots.write(value | {"turn": use + 1, "secret": secret.following().value.hex()})
            path = tuple(step.hex() for step in merkle.path(use, leaves))
            return DeviceProof(value["key"], use, len(leaves), leaves[use].hex(), path), secret.signer()

    def renew(self) -> str:
        """Replace the key by a new one and return its public key; the old one's secret is overwritten.

        Records made with the old key still verify with its public key, which the office keeps.
        """
        with self._held():
            value = self._made()
            self._slots.write(value)
            key: str = value["key"]
            return key

    @contextmanager
    def _held(self) -> Iterator[dict[str, Any]]:
        """Hold the lock on the key and give its value."""
        try:
            ensure_folder(self._files, self._state, 0o700)
            release = self._files.lock(self._state / "device.lock", _LOCK_SECONDS)
            try:
                try:
                    value = self._slots.settle()
                except FileNotFoundError:
                    value = self._made()
                    self._slots.create(value)
                yield value
            finally:
                release()
        except TimeoutError as error:
            raise Problem(
                "another program is using the device key",
                where=str(self._state),
                remedy="try again in a moment",
                code=ExitCode.FAILED,
            ) from error
        except OSError as error:
            raise disk_problem(error, "using the device key", self._state) from error

    def _leaves(self, key: str) -> Path:
        return self._state / f"{key}.uses"

    def _made(self) -> dict[str, Any]:
        """Return a new key at its first use, its one-time public keys already on the disk."""
        secret = first = Secret.fresh()
        leaves = []
        for _ in range(self._new_uses):
            leaves.append(secret.public())
            secret = secret.following()
        key = merkle.root(leaves).hex()
        put(self._files, self._leaves(key), b"".join(leaf.hex().encode() + b"\n" for leaf in leaves), mode=0o600)
        return {"turn": 0, "key": key, "secret": first.value.hex()}
