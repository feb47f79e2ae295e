"""The key with which a device signs its requests, and the device key's word for it.

The device's own key seals one thing at each of its few thousand uses (`ledger.device`); requests are many. So one
use seals a *credential*: this Ed25519 key (RFC 8032) speaks for that device. The office needs no further list: it
holds the credential, which goes with each request, to the enrolled device key.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.ledger.clock import Clock, SystemClock, milliseconds, stamp
from handsfree.ledger.device import DeviceKey, DeviceProof
from handsfree.ledger.entry import canonical
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.ratchet import holds
from handsfree.problem import ExitCode, Problem

KIND = "credential"
_MEMBERS = frozenset({"at", "device", "key", "kind", "seal"})


@dataclass(frozen=True)
class Credential:
    """What a device's key says: since when which key (64 hex digits) signs its requests."""

    device: str
    key: str
    at: str
    text: str
    """As it goes with a request: base64url (RFC 4648) of the canonical JSON."""
    use: int
    """The number of the device's one-time key that sealed it."""

    @property
    def digest(self) -> str:
        """SHA-256 of its text (hex)."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @staticmethod
    def of(text: str) -> Credential:
        """Return the credential that a text holds; ValueError when it is none, or its seal does not fit."""
        try:
            data = base64.b64decode(text.encode(), altchars=b"-_", validate=True)
            members: dict[str, Any] = json.loads(data)
            if members.keys() != _MEMBERS or members["kind"] != KIND or canonical(members) != data:
                raise ValueError("it has other members than it must")
            proof, seal = DeviceProof.of_json(members["device"]), bytes.fromhex(members["seal"])
            milliseconds(members["at"])
            unsealed = canonical({name: value for name, value in members.items() if name != "seal"})
        except (binascii.Error, TypeError, KeyError, AttributeError, RecursionError, UnicodeError) as error:
            raise ValueError("it is none") from error
        if not is_digest(members["key"]):
            raise ValueError("its key is not 64 hex digits")
        if not proof.leads_to_key() or not holds(bytes.fromhex(proof.signer), seal, unsealed):
            raise ValueError("its seal is not the device's")
        return Credential(proof.key, members["key"], members["at"], text, proof.use)


@dataclass(frozen=True)
class RequestKey:
    """The private key of requests with its credential."""

    secret: Ed25519PrivateKey
    credential: Credential


def request_key(state: Path, clock: Clock | None = None) -> RequestKey:
    """Return this device's key for requests; made on first use, and anew after the device key was renewed.

    Raises Problem when the state folder cannot be used.
    """
    path, device = state / "request-key.json", DeviceKey(state)
    try:
        kept = json.loads(contents(Disk(), path))
        found = RequestKey(
            Ed25519PrivateKey.from_private_bytes(bytes.fromhex(kept["secret"])), Credential.of(kept["credential"])
        )
        if found.credential.device == device.public_key():
            return found
    except FileNotFoundError:
        pass
    except OSError as error:
        raise disk_problem(error, "reading the key of requests", path) from error
    except (ValueError, TypeError, KeyError) as error:
        raise Problem(
            "the key of requests is damaged", where=str(path), remedy="remove this file; a new key is made",
            code=ExitCode.FAILED,
        ) from error  # fmt: skip
    return _made(path, device, clock or SystemClock())


def _made(path: Path, device: DeviceKey, clock: Clock) -> RequestKey:
    secret = Ed25519PrivateKey.generate()
    proof, signer = device.use_next()
    members = {
        "at": stamp(clock.now().wall),
        "device": proof.as_json(),
        "key": secret.public_key().public_bytes_raw().hex(),
        "kind": KIND,
    }
    sealed = canonical({**members, "seal": signer.sign(canonical(members)).hex()})
    text = base64.urlsafe_b64encode(sealed).decode()
    kept = json.dumps({"secret": secret.private_bytes_raw().hex(), "credential": text})
    try:
        ensure_folder(Disk(), path.parent, 0o700)
        put(Disk(), path, kept.encode(), mode=0o600)
    except OSError as error:
        raise disk_problem(error, "keeping the key of requests", path) from error
    return RequestKey(secret, Credential.of(text))
