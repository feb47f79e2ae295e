"""The addresses of the phone's page: its files, its words, the news as it comes, and the keys.

It knows the visit through `Shown` alone, so it runs beside the visit or in another process alike.
"""

from __future__ import annotations

import asyncio
import hmac
import ipaddress
import time
from collections.abc import AsyncIterator
from importlib import resources
from typing import Protocol

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from handsfree.glance import pad
from handsfree.serving import Limits, WithHeaders

PERIOD_S, BEAT_S = 0.2, 1.0
"""Between looks at the picture; the longest between two sendings."""
MOST_FOLLOWERS = 8
LIMITS = Limits(connections=48, request_s=10.0, taking_s=10.0)
LONGEST_KEY = 16
FILES = {
    "/": ("glance.html", "text/html"),
    "/glance.css": ("glance.css", "text/css"),
    "/glance.js": ("glance.js", "text/javascript"),
    "/mark.svg": ("mark.svg", "image/svg+xml"),
}
KEYS = frozenset({pad.ENTER, pad.LEFT, pad.UP, pad.DOWN, pad.STOP_BUTTON, *"0123456789"})
HEADERS = {
    "connection": "close",
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}


class Shown(Protocol):
    """What the page shows, and where its keys go."""

    @property
    def over(self) -> bool:
        """Whether the picture is the last."""

    def news(self) -> bytes | None:
        """Return the present picture as JSON, or None while the visit gives no sign of life."""

    def words(self) -> dict[str, str]:
        """Return the page's own words."""

    def press(self, key: str) -> None:
        """Take a key."""

    def followed(self) -> None:
        """Take in that somebody follows the news."""


def application(shown: Shown, token: str) -> ASGIApp:
    """Return the page as an ASGI application; whoever gives the token may press keys."""
    site = _Site(shown, token)
    routes = [
        *(Route(path, site.file) for path in FILES),
        Route("/words", site.words),
        Route("/news", site.news),
        Route("/key", site.key, methods=["POST"]),
    ]
    refusals = {HTTPException: _refuse, ClientDisconnect: _refuse}
    return WithHeaders(_OwnNames(Starlette(routes=routes, exception_handlers=refusals)), HEADERS)


class _OwnNames:
    """Refuses names that another site may have pointed here: only an address or localhost is ours."""

    def __init__(self, inner: ASGIApp) -> None:
        self._inner = inner

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        ours = scope["type"] != "http" or _is_ours(Request(scope).headers.get("host", ""))
        await (self._inner if ours else Response(status_code=403))(scope, receive, send)


class _Site:
    def __init__(self, shown: Shown, token: str) -> None:
        self._shown, self._token = shown, token
        self._followers = 0

    async def file(self, request: Request) -> Response:
        name, kind = FILES[request.url.path]
        return Response(resources.files(__package__).joinpath("page", name).read_bytes(), media_type=kind)

    async def words(self, _: Request) -> Response:
        return JSONResponse(self._shown.words())

    async def key(self, request: Request) -> Response:
        """Take a key from whoever has the token."""
        given = request.headers.get("x-glance-key", "")
        if not hmac.compare_digest(given.encode(), self._token.encode()):
            return Response(status_code=403)
        body = b""
        async for piece in request.stream():
            body += piece
            if len(body) > LONGEST_KEY:
                return Response(status_code=413)
        key = body.decode("ascii", "replace")
        if key not in KEYS and not (key.startswith(pad.OFFER) and key.removeprefix(pad.OFFER).isdecimal()):
            return Response(status_code=400)
        self._shown.press(key)
        return Response(status_code=204)

    async def news(self, _: Request) -> Response:
        """Send the news to so many at a time."""
        if self._followers >= MOST_FOLLOWERS:
            return Response(status_code=503)
        return _Followed(self)

    async def follow(self) -> AsyncIterator[bytes]:
        """Yield a picture whenever it changed, and each second, for as long as the visit gives signs of life."""
        yield b"retry: 1000\n\n"
        sent, sent_at, over = b"", 0.0, False
        while not over:
            await asyncio.sleep(PERIOD_S)
            over = self._shown.over
            news = self._shown.news()
            if news is not None and (over or news != sent or time.monotonic() - sent_at >= BEAT_S):
                yield b"data: " + news + b"\n\n"
                sent, sent_at = news, time.monotonic()

    def take_in(self, change: int) -> None:
        self._followers += change
        self._shown.followed()


class _Followed(StreamingResponse):
    """The news, and one place among the followers for as long as it is sent."""

    def __init__(self, site: _Site) -> None:
        super().__init__(site.follow(), media_type="text/event-stream")
        self._site = site

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self._site.take_in(1)
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._site.take_in(-1)


def _refuse(_: Request, fault: Exception) -> Response:
    return Response(status_code=fault.status_code if isinstance(fault, HTTPException) else 400)


def _is_ours(host: str) -> bool:
    name = host.rpartition(":")[0].strip("[]") or host
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return name == "localhost"
    return True
