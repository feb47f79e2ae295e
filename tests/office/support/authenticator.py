"""An authenticator with one passkey: its answers have the form of W3C Web Authentication 2, 5.8.1 and 6.1."""

from __future__ import annotations

import hashlib
import json
import re
from typing import Any

import cbor2
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from webauthn.helpers import bytes_to_base64url

from handsfree.office.enrolment import Passkey
from handsfree.office.signatures import key_of_passkey

USER_PRESENT_AND_VERIFIED = b"\x05"
EDDSA_ON_ED25519 = {1: 1, 3: -8, -1: 6}
"""An octet key pair by RFC 9053, section 7.2; the key itself is its member -2."""


class Authenticator:
    """One person's device with a passkey for one host."""

    def __init__(self, seed: int = 7, host: str = "localhost") -> None:
        self._private = Ed25519PrivateKey.from_private_bytes(bytes([seed] * 32))
        public = cbor2.dumps({**EDDSA_ON_ED25519, -2: self._private.public_key().public_bytes_raw()})
        self.passkey = Passkey(bytes([seed] * 16).hex(), public.hex(), host)
        self.key = key_of_passkey(self.passkey)

    def answer(self, challenge: str, origin: str) -> dict[str, Any]:
        """Return what a browser at an origin hands over for a challenge (base64url)."""
        client = json.dumps({"type": "webauthn.get", "challenge": challenge, "origin": origin}).encode()
        data = hashlib.sha256(self.passkey.host.encode()).digest() + USER_PRESENT_AND_VERIFIED + bytes(4)
        seal = self._private.sign(data + hashlib.sha256(client).digest())
        told = {"clientDataJSON": client, "authenticatorData": data, "signature": seal}
        return {
            "id": bytes_to_base64url(bytes.fromhex(self.passkey.credential)),
            "response": {name: bytes_to_base64url(each) for name, each in told.items()},
        }


def sign_in(browser: Any, device: Authenticator, desk: str, name: str = "A. Supervisor") -> Any:
    """Sign in at a desk as its page does; return its last answer."""
    page = browser.get("/sign-in")
    form = {"form_token": re.search(r'name="form_token" value="([^"]+)"', page.text)[1]}
    asked = browser.post("/sign-in/prepare", json={**form, "name": name}).raise_for_status().json()
    answer = device.answer(asked["challenge"], desk)
    return browser.post("/sign-in/complete", json={**form, "token": asked["token"], "assertion": answer})
