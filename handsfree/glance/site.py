"""The addresses of the phone's page: its files, its words, the news as it comes, and the keys.

Whoever has the view code may look; whoever has the key code, too, and may press, but only over an encrypted
connection. It runs in a process of its own and knows the visit through `Relay` alone.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import ipaddress
import re
import time
from collections.abc import AsyncIterator, Callable
from importlib import resources

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, HTTPConnection, Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.types import ASGIApp, Receive, Scope, Send

from handsfree.glance import key_names
from handsfree.glance.authority import own_names
from handsfree.glance.presses import FOLLOW, SOUND, Turnstile
from handsfree.glance.sound_link import SoundLink
from handsfree.glance.strokes import LONGEST_DRAWING, strokes_in
from handsfree.photo_file import LARGEST_SENT, kept_form
from handsfree.problem import Problem
from handsfree.serving import ServingLimits, WithHeaders

PERIOD_S = 0.1
"""Between looks at whether news has come."""
MOST_VIEWERS, MOST_HOLDERS = 7, 3
"""Who follow the news at a time: those who only look; those with the key code, of whom the oldest makes room."""
LIMITS = ServingLimits(connections=48, per_address=24, request_s=10.0, taking_s=10.0)
LONGEST_KEY = 64
FILES = {
    "/": ("glance.html", "text/html"),
    "/glance.css": ("glance.css", "text/css"),
    "/glance.js": ("glance.js", "text/javascript"),
    "/sha256.js": ("sha256.js", "text/javascript"),
    "/signing.js": ("signing.js", "text/javascript"),
    "/photo.js": ("photo.js", "text/javascript"),
    "/sound.js": ("sound.js", "text/javascript"),
    "/capture.js": ("capture.js", "text/javascript"),
    "/link.js": ("link.js", "text/javascript"),
    "/mark.svg": ("mark.svg", "image/svg+xml"),
}
CERTIFICATE = "handsfree.crt"
KEYS = frozenset(
    {key_names.ENTER, key_names.LEFT, key_names.UP, key_names.DOWN, key_names.STOP_BUTTON, *"0123456789"}
)
OTHER_KEYS = re.compile(rf"{key_names.OFFER}[0-9]+|{key_names.HAZARD}[a-z][a-z0-9-]*")
HEADERS = {
    "connection": "close",
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}


FRESH_S = 2.0
"""A picture is told each second; who comes later than this after the last is not to take it for a new one."""


class Relay:
    """What the visit tells the page, and what the page tells the visit by `tell`.

    `pressed` gets a key and its count, `signed` who, the drawing and the count, `photographed` the gate, the
    photo as it is kept and the count, `followed` nothing; all are called
    from the page's own thread.
    """

    def __init__(
        self,
        words: bytes,
        pressed: Callable[[str, int], None],
        followed: Callable[[], None],
        signed: Callable[[str, bytes, int], None] = lambda _whose, _drawing, _count: None,
        photographed: Callable[[str, bytes, int], None] = lambda _gate, _photo, _count: None,
    ) -> None:
        self.photographed = photographed
        self.words, self.pressed, self.followed, self.signed = words, pressed, followed, signed
        self.news = b""
        """The picture told last, as JSON; empty while the visit is silent."""
        self.number = 0
        """How many were told."""
        self.over = False
        """Whether it is the last."""
        self.followers = 0
        self._told_at = 0.0

    @property
    def fresh(self) -> bool:
        """Whether the picture is of now: a tool that stands still cannot say that it is old."""
        return self.over or time.monotonic() - self._told_at < FRESH_S

    def told(self, news: bytes, *, over: bool) -> None:
        """Take in a picture."""
        self.news, self.number, self.over = news, self.number + 1, over
        self._told_at = time.monotonic()


class _OwnNames:
    """Refuses names that another site may have pointed here: only an address or a name of this device is ours."""

    def __init__(self, inner: ASGIApp) -> None:
        self._inner = inner

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan" or _is_ours(HTTPConnection(scope).headers.get("host", "")):
            await self._inner(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close"})
        else:
            await Response(status_code=403)(scope, receive, send)


def only_own_names(inner: ASGIApp) -> ASGIApp:
    """Return an application that answers only under an address or a name of this device."""
    return _OwnNames(inner)


class Site:
    """The page; `certificate` (DER) and `switch_off` (WAV) are offered to phones, `link` takes their sound.

    `know` is told the address of whoever has shown the key code.
    """

    def __init__(
        self,
        relay: Relay,
        view_code: str,
        turnstile: Turnstile,
        *,
        certificate: bytes = b"",
        switch_off: bytes = b"",
        link: SoundLink | None = None,
        know: Callable[[str], None] = lambda _address: None,
    ) -> None:
        self._relay, self._view_code, self._turnstile = relay, view_code, turnstile
        self._certificate, self._switch_off, self._link, self._know = certificate, switch_off, link, know
        self._drawing = asyncio.Lock()
        self._viewers: list[_Followed] = []
        self._holders: list[_Followed] = []

    def application(self) -> ASGIApp:
        """Return the page as an ASGI application."""
        routes: list[BaseRoute] = [
            *(Route(path, self.file) for path in FILES),
            Route("/words", self.words),
            Route(f"/{CERTIFICATE}", self.certificate),
            Route("/switch-off.wav", self.switch_off),
            Route("/news", self.news),
            Route("/key", self.key, methods=["POST"]),
            Route("/signature/{whose}", self.signature, methods=["POST"]),
            Route("/photo/{gate:path}", self.photo, methods=["POST"]),
        ]
        if self._link is not None:
            routes.append(Route("/sound", self.ticket, methods=["POST"]))
            routes.append(WebSocketRoute("/sound", self._link.attend))
        refusals = {HTTPException: _refuse, ClientDisconnect: _refuse}
        return WithHeaders(_OwnNames(Starlette(routes=routes, exception_handlers=refusals)), HEADERS)

    async def file(self, request: Request) -> Response:
        """Hand out a file of the page."""
        name, kind = FILES[request.url.path]
        return Response(resources.files(__package__).joinpath("page", name).read_bytes(), media_type=kind)

    async def words(self, _: Request) -> Response:
        """Hand out the page's own words, which it needs before the first picture."""
        return Response(self._relay.words, media_type="application/json")

    async def certificate(self, _: Request) -> Response:
        """Hand out the device's authority; whoever takes it in compares its fingerprint with the tool's."""
        status = 200 if self._certificate else 404
        return Response(self._certificate, status, media_type="application/x-x509-ca-cert")

    async def switch_off(self, _: Request) -> Response:
        """Hand out what the phone says by itself when the link is lost at a firing gate."""
        return Response(self._switch_off, media_type="audio/wav")

    async def ticket(self, request: Request) -> Response:
        """Let the holder of the key code open the link for sound."""
        assert self._link is not None
        refusal = self._refusal(request, SOUND)
        return Response(self._link.ticket()) if refusal is None else refusal

    async def key(self, request: Request) -> Response:
        """Take a key, with its count and its code."""
        body = await _coded(request, LONGEST_KEY)
        if isinstance(body, Response):
            return body
        key = body.decode("ascii", "replace")
        if key not in KEYS and not OTHER_KEYS.fullmatch(key):
            return Response(status_code=400)
        refusal = self._refusal(request, key)
        if refusal is not None:
            return refusal
        self._relay.pressed(key, self._turnstile.count)
        return Response(status_code=204)

    async def signature(self, request: Request) -> Response:
        """Take a drawing, with its count and a code over whose it is and the digest of it."""
        body = await _coded(request, LONGEST_DRAWING)
        if isinstance(body, Response):
            return body
        try:
            strokes_in(body)
        except (ValueError, RecursionError):
            return Response(status_code=400)
        whose = request.path_params["whose"]
        refusal = self._refusal(request, f"signature {whose} {hashlib.sha256(body).hexdigest()}")
        if refusal is not None:
            return refusal
        self._relay.signed(whose, body, self._turnstile.count)
        return Response(status_code=204)

    async def photo(self, request: Request) -> Response:
        """Take a photo, with a code over its gate and the digest of it; nothing is read before that is right.

        The picture is drawn anew here, one at a time: what is hostile in it never reaches the visit.
        """
        gate, digest = request.path_params["gate"], request.headers.get("x-glance-digest", "")
        if "x-glance-code" not in request.headers:
            return Response(status_code=403)
        refusal = self._refusal(request, f"photo {gate} {digest}")
        if refusal is not None:
            return refusal
        body = await _coded(request, LARGEST_SENT)
        if isinstance(body, Response):
            return body
        if hashlib.sha256(body).hexdigest() != digest:
            return Response(status_code=403)
        try:
            async with self._drawing:
                photo = await run_in_threadpool(kept_form, body)
        except Problem as problem:
            return Response(problem.sentence(), 415)
        self._relay.photographed(gate, photo, self._turnstile.count)
        return Response(status_code=204)

    def _refusal(self, request: Request, key: str) -> Response | None:
        """Return why a press is not taken: it came in the open (426), its code is wrong, its count is not new."""
        if request.url.scheme != "https":
            return Response(status_code=426)
        given = request.headers
        match self._turnstile.takes(given.get("x-glance-count", ""), key, given.get("x-glance-code", "")):
            case "taken":
                self._know(request.client.host if request.client else "")
                return None
            case "replayed":
                return Response(str(self._turnstile.count), 409, {"X-Glance-Code": self._turnstile.code})
            case "refused":
                return Response(status_code=403)

    async def news(self, request: Request) -> Response:
        """Send the news to so many at a time; a place is kept for who has the key code."""
        if "x-glance-code" in request.headers:
            refusal = self._refusal(request, FOLLOW)
            if refusal is not None:
                return refusal
            if len(self._holders) >= MOST_HOLDERS:
                self._holders[0].let_go = True
            return _Followed(self._relay, self._holders)
        given = request.headers.get("x-glance-view", "")
        if not hmac.compare_digest(given.encode(), self._view_code.encode()):
            return Response(status_code=403)
        if len(self._viewers) >= MOST_VIEWERS:
            return Response(status_code=503)
        return _Followed(self._relay, self._viewers)


class _Followed(StreamingResponse):
    """The news, each picture as it is told, and one place among the followers for as long as it is sent."""

    def __init__(self, relay: Relay, among: list[_Followed]) -> None:
        super().__init__(self._follow(), media_type="text/event-stream")
        self._relay, self._among = relay, among
        self.let_go = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self._among.append(self)
        self._relay.followers += 1
        self._relay.followed()
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._among.remove(self)
            self._relay.followers -= 1

    async def _follow(self) -> AsyncIterator[bytes]:
        yield b": the news\n\n"
        sent, over = 0, False
        while not over and not self.let_go:
            over = self._relay.over
            if self._relay.number != sent:
                sent = self._relay.number
                if self._relay.news and self._relay.fresh:
                    yield b"data: " + self._relay.news + b"\n\n"
            await asyncio.sleep(PERIOD_S)


async def _coded(request: Request, longest: int) -> bytes | Response:
    """Return what was sent with a code, or the refusal: no code at all, or more than so many bytes."""
    if "x-glance-code" not in request.headers:
        return Response(status_code=403)
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > longest:
            return Response(status_code=413)
    return bytes(body)


def _refuse(_: Request, fault: Exception) -> Response:
    return Response(status_code=fault.status_code if isinstance(fault, HTTPException) else 400)


def _is_ours(host: str) -> bool:
    name = host.rpartition(":")[0].strip("[]") or host
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return name in own_names()
    return True
