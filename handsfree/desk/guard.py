"""What stands before every page: who may come in, which names the desk answers to, and the headers it sends."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})
COOKIE = "desk"
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


@dataclass(frozen=True)
class Door:
    """Who may come in. `token` is None on loopback; elsewhere it is asked for once and kept in a cookie.

    `hosts` are the names a browser may call the desk by: anything else is another site's name that was made to
    point here.
    """

    hosts: frozenset[str] = LOOPBACK
    token: str | None = None
    secret: bytes = field(default_factory=lambda: secrets.token_bytes(32))

    def form_token(self) -> str:
        """Return what every form carries, so that no other site can send one."""
        return hmac.new(self.secret, b"form", hashlib.sha256).hexdigest()

    def form_is_ours(self, given: str) -> bool:
        """Say whether a form carries it."""
        return hmac.compare_digest(given.encode("utf-8", "replace"), self.form_token().encode())

    def pass_(self) -> str:
        """Return what the cookie holds of one who gave the token."""
        return hmac.new(self.secret, b"pass", hashlib.sha256).hexdigest()


class EncryptedOnly:
    """An application that answers nobody who asks in plain: one port takes both (`handsfree/doorway.py`)."""

    def __init__(self, inner: ASGIApp) -> None:
        self._inner = inner

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse or hand on."""
        plain = scope["type"] == "http" and scope["scheme"] != "https"
        refusal = PlainTextResponse("Ask with https: over a network the desk answers only encrypted.", 403)
        await (refusal if plain else self._inner)(scope, receive, send)


class AccessGuard:
    """The application behind the door."""

    def __init__(self, inner: ASGIApp, door: Door) -> None:
        self._inner, self._door = inner, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse or hand on."""
        if scope["type"] != "http":
            await self._inner(scope, receive, send)
            return
        refusal = self._refusal(scope, Headers(scope=scope))
        await (refusal or self._inner)(scope, receive, send)

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        try:
            host = urlsplit(f"//{headers.get('host', '')}").hostname or ""
            came_from = urlsplit(headers.get("origin", "")).netloc
        except ValueError:
            return PlainTextResponse("This names no host.", 400)
        if host not in self._door.hosts:
            return PlainTextResponse("The desk does not answer to this name.", 421)
        site = headers.get("sec-fetch-site", "same-origin")
        origin = headers.get("origin")
        foreign = origin is not None and came_from != headers.get("host")
        if scope["method"] not in {"GET", "HEAD"} and (site not in {"same-origin", "none"} or foreign):
            return PlainTextResponse("This came from another site.", 403)
        return self._unknown(scope, headers) if self._door.token else None

    def _unknown(self, scope: Scope, headers: Headers) -> Response | None:
        assert self._door.token is not None
        cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        if cookie is not None and hmac.compare_digest(cookie.value, self._door.pass_()):
            return None
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["path"] == "/enter" and hmac.compare_digest(given.encode(), self._door.token.encode()):
            answer, tls = RedirectResponse("/", 303), scope["scheme"] == "https"
            answer.set_cookie(COOKIE, self._door.pass_(), httponly=True, secure=tls, samesite="strict", path="/")
            return answer
        return PlainTextResponse(
            "Open the address that the desk printed when it started: it holds the token.", 401
        )
