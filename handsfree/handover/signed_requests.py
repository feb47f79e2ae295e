"""Requests that a device signs: HTTP Message Signatures (RFC 9421, Ed25519) over a digest of the body (RFC 9530).

Signed are the method, the path, the query, every header that changes what the request means, the time, and a
nonce that begins with the office's *epoch*: a word that it makes anew whenever it starts. So a request that was
overheard counts for no other office, not after a restart, not after `WINDOW_S`, and not a second time before.
"""

from __future__ import annotations

import datetime as dt
import secrets
import threading
from collections.abc import Callable, MutableMapping
from dataclasses import dataclass, field
from itertools import islice

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from http_message_signatures import (
    HTTPMessageSignaturesException,
    HTTPMessageSigner,
    HTTPMessageVerifier,
    HTTPSignatureKeyResolver,
    algorithms,
)

from handsfree.handover.credentials import Credential, RequestKey

CREDENTIAL = "handsfree-credential"
EPOCH = "handsfree-epoch"
TAG = "handsfree-handover"
WINDOW_S = 300
"""So far may the time that a request names be from the office's."""
_ALWAYS = ("@method", "@path", "@query", CREDENTIAL)
_WHERE_THERE = ("content-type", "tus-resumable", "upload-length", "upload-metadata", "upload-offset")
_ORIGIN = "https://office"
"""The signature covers path and query; by which name the office is reached is TLS's business."""


@dataclass(frozen=True)
class SignedRequest:
    """A request as it is signed or verified; `target` is path and query."""

    method: str
    target: str
    headers: MutableMapping[str, str]

    @property
    def url(self) -> str:
        """The absolute address that the signature's components are taken from."""
        return _ORIGIN + self.target

    def components(self) -> tuple[str, ...]:
        """Return what the signature must cover."""
        there = {name.lower() for name in self.headers}
        return (*_ALWAYS, *(name for name in _WHERE_THERE if name in there))


class _OneKey(HTTPSignatureKeyResolver):
    def __init__(self, private: RequestKey | None = None, public: Credential | None = None) -> None:
        self._private, self._public = private, public

    def resolve_private_key(self, key_id: str) -> object:  # noqa: ARG002 - it has one
        return self._private.secret if self._private else None

    def resolve_public_key(self, key_id: str) -> object:
        if self._public is None or key_id != self._public.device:
            return None
        return Ed25519PublicKey.from_public_bytes(bytes.fromhex(self._public.key))


def sign(request: SignedRequest, body: bytes, key: RequestKey, epoch: str, now: dt.datetime) -> None:
    """Add to the request's headers what signs it; `now` is the office's time as far as the device knows it."""
    request.headers[CREDENTIAL] = key.credential.text
    signer = HTTPMessageSigner(signature_algorithm=algorithms.ED25519, key_resolver=_OneKey(private=key))
    signer.sign(
        request, key_id=key.credential.device, created=now, nonce=f"{epoch}.{secrets.token_urlsafe(16)}", tag=TAG,
        label="device", covered_component_ids=request.components(), body=body,
    )  # fmt: skip


class _Verifier(HTTPMessageVerifier):
    max_clock_skew = dt.timedelta(seconds=WINDOW_S)


@dataclass
class RequestVerifier:
    """What an office takes as signed; it remembers each nonce for as long as its request could come again."""

    knows: Callable[[str], bool]
    """Whether a device key is enrolled now."""
    epoch: str = field(default_factory=lambda: secrets.token_urlsafe(12))
    _seen: dict[str, float] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    """Many threads verify at a time."""

    def sender(self, request: SignedRequest, body: bytes) -> Credential:
        """Return the credential of the device that signed a request; PermissionError says why there is none."""
        text = next((value for name, value in request.headers.items() if name.lower() == CREDENTIAL), "")
        try:
            credential = Credential.of(text)
        except ValueError as error:
            raise PermissionError(f"the credential does not hold: {error}") from error
        if not self.knows(credential.device):
            raise PermissionError("this device is not enrolled here, or not any more")
        verifier = _Verifier(signature_algorithm=algorithms.ED25519, key_resolver=_OneKey(public=credential))
        try:
            (result,) = verifier.verify(
                request,
                max_age=dt.timedelta(0),
                expect_tag=TAG,
                require_components=request.components(),
                body=body,
            )
        except (HTTPMessageSignaturesException, ValueError) as error:
            raise PermissionError(f"the signature does not hold: {error}") from error
        with self._lock:
            self._must_be_new(result.nonce or "")
        return credential

    def _must_be_new(self, nonce: str) -> None:
        if nonce.split(".", 1)[0] != self.epoch:
            raise PermissionError("the request was signed for another run of the office")
        now = dt.datetime.now(dt.UTC).timestamp()
        for old, until in list(islice(self._seen.items(), 8)):  # they stand in the order in which they came
            if until < now:
                self._seen.pop(old, None)
        if nonce in self._seen:
            raise PermissionError("this request has come before")
        self._seen[nonce] = now + 2 * WINDOW_S + 5
