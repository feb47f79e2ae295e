"""A key that is kept under a passphrase: the office's, a supervisor's, a technician's, an author's.

The file is the usual one for a private key: PKCS#8 (RFC 5958), encrypted (PBES2, RFC 8018), in PEM (RFC 7468), so
any tool for keys can read it. The key is Ed25519 (RFC 8032).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)

from handsfree.ledger.files import Disk, Files, contents, disk_problem, ensure_folder, put
from handsfree.problem import Problem

SHORTEST_PASSPHRASE = 8
"""Characters: NIST SP 800-63B, 5.1.1.2, asks for at least eight of a secret that a person chooses."""


@dataclass(frozen=True)
class KeptKey:
    """A private key that was opened."""

    secret: Ed25519PrivateKey

    @property
    def public(self) -> str:
        """The public key, 64 hex digits."""
        return self.secret.public_key().public_bytes_raw().hex()

    def sign(self, message: bytes) -> bytes:
        """Return the Ed25519 signature of a message."""
        return self.secret.sign(message)


def make_key(path: Path, passphrase: str | None, files: Files | None = None) -> KeptKey:
    """Make a key and keep it in a new file, readable by its owner only.

    Without a passphrase (a machine's own list) it lies open in that file. Raises Problem when the passphrase is
    too short, the file exists, or the disk fails.
    """
    files = files or Disk()
    if passphrase is not None and len(passphrase) < SHORTEST_PASSPHRASE:
        raise Problem("the passphrase is too short", remedy=f"take at least {SHORTEST_PASSPHRASE} characters")
    if path.exists():
        raise Problem("there is a key already", where=str(path), remedy="name a new file")
    key = KeptKey(Ed25519PrivateKey.generate())
    how = NoEncryption() if passphrase is None else BestAvailableEncryption(passphrase.encode())
    try:
        ensure_folder(files, path.parent, 0o700)
        put(files, path, key.secret.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, how), 0o600)
    except OSError as error:
        raise disk_problem(error, "keeping the key", path) from error
    return key


def open_key(path: Path, passphrase: str | None, files: Files | None = None) -> KeptKey:
    """Return the key in a file; Problem when there is none, or the passphrase does not open it."""
    try:
        data = contents(files or Disk(), path)
    except FileNotFoundError:
        raise Problem("there is no such key", where=str(path), remedy="make one: handsfree enrol key") from None
    except OSError as error:
        raise disk_problem(error, "reading the key", path) from error
    try:
        secret = load_pem_private_key(data, None if passphrase is None else passphrase.encode())
    except (ValueError, TypeError) as error:
        what = "the passphrase does not open this key" if passphrase else "this key needs its passphrase"
        raise Problem(what, where=str(path)) from error
    if not isinstance(secret, Ed25519PrivateKey):
        raise Problem("this is not an Ed25519 key", where=str(path), remedy="make one: handsfree enrol key")
    return KeptKey(secret)


def is_encrypted(path: Path) -> bool:
    """Say whether a key file asks for a passphrase; Problem when it cannot be read."""
    try:
        return b"ENCRYPTED PRIVATE KEY" in contents(Disk(), path)
    except FileNotFoundError:
        raise Problem("there is no such key", where=str(path), remedy="make one: handsfree enrol key") from None
    except OSError as error:
        raise disk_problem(error, "reading the key", path) from error
