"""Keys that only turn forward: from a secret follow its signing key and the next secret, never the one before.

Each step is HMAC-SHA256 of a fixed word under the secret. Whoever takes the secret of today can seal what
comes, and cannot compute any earlier secret, so cannot re-seal what is already written.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey


@dataclass(frozen=True)
class Secret:
    """One position of the ratchet; `value` is 32 bytes."""

    value: bytes = field(repr=False)

    @staticmethod
    def fresh() -> Secret:
        """Return a new random secret from the operating system."""
        return Secret(secrets.token_bytes(32))

    def signer(self) -> Ed25519PrivateKey:
        """Return the signing key of this position: HMAC-SHA256(secret, "seal") is its RFC 8032 seed."""
        return Ed25519PrivateKey.from_private_bytes(hmac.digest(self.value, b"seal", "sha256"))

    def public(self) -> bytes:
        """Return the 32 bytes of the public key of this position."""
        return self.signer().public_key().public_bytes_raw()

    def following(self) -> Secret:
        """Return the next secret: HMAC-SHA256(secret, "next")."""
        return Secret(hmac.digest(self.value, b"next", "sha256"))


def holds(public: bytes, seal: bytes, message: bytes) -> bool:
    """Say whether the seal is the signature of the message by the owner of the public key."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(seal, message)
    except InvalidSignature:
        return False
    return True
