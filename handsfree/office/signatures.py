"""Signatures of people: by a kept key or by a passkey, over one statement or over many at once.

What is signed is the head of a Merkle tree (RFC 9162, section 2.1.1) whose leaves are the statements in canonical
form, so each statement carries a proof of its own that it was among those signed. A kept key signs that head with
Ed25519 (RFC 8032); a passkey signs it as the challenge of a WebAuthn assertion (W3C Web Authentication, level 2,
section 7.2), which is kept whole and verified again whenever the record is.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol
from urllib.parse import urlsplit

from handsfree.ledger import merkle
from handsfree.ledger.ratchet import holds
from handsfree.office.enrolment import Passkey
from handsfree.office.kept_key import KeptKey
from handsfree.problem import Problem

WHAT_IT_IS = b"handsfree endorsements, RFC 9162 tree head\n"
"""Stands before the head that a kept key signs, so that no other signature of that key can be taken for one."""

ED25519, WEBAUTHN = "ed25519", "webauthn"
_PROOF = frozenset({"method", "root", "index", "size", "path"})
_MEMBERS = {
    ED25519: _PROOF | {"seal"},
    WEBAUTHN: _PROOF | {"seal", "authenticator_data", "client_data", "public_key", "credential", "host"},
}
MOST_AT_ONCE = 500
"""Statements in one batch."""


MISSHAPEN = (ValueError, TypeError, LookupError, AttributeError, RecursionError)
"""What reading something that anybody may have written raises."""


class Signer(Protocol):
    """Whoever signs: `key` names them on the enrolment list."""

    @property
    def key(self) -> str:
        """The name of the key on the list."""

    def seal(self, root: bytes) -> dict[str, str]:
        """Return the members of a signature over a tree head, `method` among them; Problem when it fails."""


@dataclass(frozen=True)
class KeyHolder:
    """A person who has opened their kept key."""

    kept: KeptKey

    @property
    def key(self) -> str:
        """The public key itself."""
        return self.kept.public

    def seal(self, root: bytes) -> dict[str, str]:
        """Sign with Ed25519."""
        return {"method": ED25519, "seal": self.kept.sign(WHAT_IT_IS + root).hex()}


@dataclass(frozen=True)
class Assertion:
    """A person whose passkey has answered a challenge; `response` is what the browser gave (base64url members)."""

    passkey: Passkey
    response: Mapping[str, Any]

    @property
    def key(self) -> str:
        """The digest of the passkey's public key."""
        return key_of_passkey(self.passkey)

    def seal(self, root: bytes) -> dict[str, str]:
        """Keep the assertion, if it is one over this head by this passkey."""
        from webauthn.helpers import base64url_to_bytes  # noqa: PLC0415 - only where passkeys are used

        try:
            inner = self.response["response"]
            client, data, seal = (
                base64url_to_bytes(str(inner[name])).hex()
                for name in ("clientDataJSON", "authenticatorData", "signature")
            )
        except MISSHAPEN as error:
            raise Problem("this is no answer of a passkey", remedy="sign again") from error
        members = {
            "method": WEBAUTHN,
            "seal": seal,
            "authenticator_data": data,
            "client_data": client,
            "public_key": self.passkey.public_key,
            "credential": self.passkey.credential,
            "host": self.passkey.host,
        }
        if fault := _webauthn_fault(members, self.key, root):
            raise Problem(f"the passkey's answer does not hold: {fault}", remedy="sign again")
        return members


def key_of_passkey(passkey: Passkey) -> str:
    """Return the name of a passkey on the list: SHA-256 of its COSE public key, in hex."""
    return hashlib.sha256(bytes.fromhex(passkey.public_key)).hexdigest()


def challenge_of(leaves: Sequence[bytes]) -> bytes:
    """Return what is signed for statements in canonical form: the head of their tree, 32 bytes."""
    return merkle.root(leaves)


def signatures(leaves: Sequence[bytes], signer: Signer) -> list[dict[str, Any]]:
    """Sign statements in canonical form all at once; return the member `signature` of each."""
    if not 0 < len(leaves) <= MOST_AT_ONCE:
        raise Problem(f"{len(leaves)} sign-offs at once", remedy=f"sign 1 to {MOST_AT_ONCE}")
    root = challenge_of(leaves)
    seal = signer.seal(root)
    return [
        {
            **seal,
            "root": root.hex(),
            "index": index,
            "size": len(leaves),
            "path": [step.hex() for step in merkle.path(index, leaves)],
        }
        for index in range(len(leaves))
    ]


def fault_of(signature: Any, leaf: bytes, key: str) -> str:
    """Return why a signature is not one of this key over this statement; empty when it is.

    Raises one of MISSHAPEN when it has not the form of a signature.
    """
    method = signature["method"]
    if signature.keys() != _MEMBERS[method]:
        return "its signature has other members than it must"
    root, path = bytes.fromhex(signature["root"]), [bytes.fromhex(step) for step in signature["path"]]
    if merkle.root_from(leaf, signature["index"], signature["size"], path) != root:
        return "what is signed is something else"
    if method == WEBAUTHN:
        return _webauthn_fault(signature, key, root)
    fits = holds(bytes.fromhex(key), bytes.fromhex(signature["seal"]), WHAT_IT_IS + root)
    return "" if fits else "the signature does not fit"


def _webauthn_fault(signature: Mapping[str, str], key: str, root: bytes) -> str:
    """Verify a kept assertion again: that key, that challenge, that host, and that the person was verified."""
    from webauthn import verify_authentication_response  # noqa: PLC0415 - only where passkeys are used
    from webauthn.helpers import bytes_to_base64url  # noqa: PLC0415
    from webauthn.helpers.exceptions import WebAuthnException  # noqa: PLC0415

    def coded(name: str) -> str:
        return bytes_to_base64url(bytes.fromhex(signature[name]))

    try:
        public_key, client = bytes.fromhex(signature["public_key"]), bytes.fromhex(signature["client_data"])
        if hashlib.sha256(public_key).hexdigest() != key:
            return "the passkey is another one"
        origin = str(json.loads(client).get("origin"))
        address, host = urlsplit(origin), signature["host"]
        if address.hostname != host or (address.scheme != "https" and address.hostname != "localhost"):
            return "it was signed for another site"
        verify_authentication_response(
            credential={
                "id": coded("credential"),
                "rawId": coded("credential"),
                "type": "public-key",
                "response": {
                    "clientDataJSON": coded("client_data"),
                    "authenticatorData": coded("authenticator_data"),
                    "signature": coded("seal"),
                },
            },
            expected_challenge=root,
            expected_rp_id=host,
            expected_origin=origin,
            credential_public_key=public_key,
            credential_current_sign_count=0,
            require_user_verification=True,
        )
    except WebAuthnException as error:
        return f"the passkey's signature does not fit ({error})"
    except MISSHAPEN:
        return "the passkey's answer, or its key, has not the form of one"
    return ""
