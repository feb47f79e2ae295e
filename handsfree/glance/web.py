"""The picture as a page for a phone clipped up in the closet: news as it comes, and keys for who has the token.

Nothing here asks anything of another machine. Whoever is in the same network and knows the address can look;
only who has the printed address, with the token behind its `#`, can press keys.
"""

from __future__ import annotations

import hmac
import ipaddress
import json
import secrets
import socket
import sys
import threading
import time
from dataclasses import asdict
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from typing import Any, Self

from handsfree.glance import pad
from handsfree.glance.picture import Glance
from handsfree.glance.view import clock
from handsfree.glance.watching import Watch
from handsfree.lexicon.catalogue import Catalogue
from handsfree.problem import Problem

PERIOD_S, BEAT_S, ALIVE_S = 0.2, 1.0, 1.0
"""Between looks at the picture; the longest between two sendings; a visit silent for longer sends nothing."""
PARTING_S = 2.0
"""The most that the last picture may take to go out."""
MOST_FOLLOWERS = 8
LONGEST_KEY = 16
FILES = {
    "/": ("glance.html", "text/html; charset=utf-8"),
    "/glance.css": ("glance.css", "text/css; charset=utf-8"),
    "/glance.js": ("glance.js", "text/javascript; charset=utf-8"),
    "/mark.svg": ("mark.svg", "image/svg+xml"),
}
KEYS = frozenset({pad.ENTER, pad.LEFT, pad.UP, pad.DOWN, pad.STOP_BUTTON, *"0123456789"})
WORDS = {
    "stop": "stop",
    "enter": "key-enter",
    "takes-back": "takes-back",
    "previous": "previous",
    "next": "next",
    "keys": "keys",
    "view-only": "view-only",
    "not-taken": "not-taken",
    "visit-over": "visit-over",
    "no-news": "no-news",
    "old-picture": "old-picture",
}
"""The page's own words -> the catalogue's labels."""
HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


class Page:
    """Serves one watched visit at an address until it is left."""

    def __init__(self, address: str, watch: Watch, catalogue: Catalogue) -> None:
        """Take "HOST:PORT", host empty for all addresses and port 0 for any; Problem when it cannot be had."""
        host, port = _address(address)
        self.token = secrets.token_urlsafe(12)
        handler = type("GlanceHandler", (_Handler,), {"page": self})
        try:
            self._server = _Server((host, port), handler)
        except OSError as error:
            what = f"the page cannot be served at {address}: {error.strerror or error}"
            raise Problem(what, remedy="choose another address or port") from error
        self.watch, self.catalogue = watch, catalogue
        self.over = threading.Event()
        self.followers = threading.BoundedSemaphore(MOST_FOLLOWERS)
        self.followed = threading.Event()
        shown = _own_address() if host in {"", "0.0.0.0"} else host  # noqa: S104 - compared, not bound
        self.url = f"http://{shown}:{self._server.server_address[1]}/#{self.token}"

    def __enter__(self) -> Self:
        threading.Thread(
            target=self._server.serve_forever, args=(0.1,), name="handsfree page", daemon=True
        ).start()
        return self

    def __exit__(self, *_: object) -> None:
        self.over.set()
        until = time.monotonic() + PARTING_S
        for _follower in range(MOST_FOLLOWERS):  # all are let go when each has been sent the last picture
            self.followers.acquire(timeout=max(0.0, until - time.monotonic()))
        self._server.shutdown()
        self._server.server_close()

    def words(self) -> dict[str, str]:
        """Return the page's own words."""
        return {name: self.catalogue.glance.labels[label] for name, label in WORDS.items()}

    def news(self, picture: Glance) -> dict[str, Any]:
        """Return a picture as the page takes it."""
        enter = self.catalogue.show("key-enter")
        return {
            **asdict(picture),
            "language": self.catalogue.glance.tag,
            "left": "" if picture.bar is None else clock(picture.bar.left_ms),
            "gone": 0.0 if picture.bar is None else picture.bar.gone,
            "enter": next((key.does for key in picture.keys if key.key == enter), ""),
            "words": self.words(),
        }


class _Server(ThreadingHTTPServer):
    """Does not speak of phones that went away."""

    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Tell of faults of ours alone."""
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)


class _Handler(BaseHTTPRequestHandler):
    """Answers one connection."""

    page: Page
    protocol_version = "HTTP/1.1"
    server_version = "handsfree"
    sys_version = ""
    timeout = 20

    def do_GET(self) -> None:
        """Send a file, the words, or the news."""
        if not self._own_host():
            self._send(HTTPStatus.FORBIDDEN, b"", "text/plain")
        elif self.path in FILES:
            name, kind = FILES[self.path]
            self._send(HTTPStatus.OK, resources.files(__package__).joinpath("page", name).read_bytes(), kind)
        elif self.path == "/words":
            self._send(HTTPStatus.OK, json.dumps(self.page.words()).encode(), "application/json")
        elif self.path == "/news":
            self._news()
        else:
            self._send(HTTPStatus.NOT_FOUND, b"", "text/plain")

    def do_POST(self) -> None:
        """Take a key from whoever has the token."""
        given = self.headers.get("X-Glance-Key", "")
        length = self.headers.get("Content-Length", "")
        size = int(length) if length.isdecimal() else LONGEST_KEY + 1
        if size > LONGEST_KEY:
            self.close_connection = True
            self._send(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, b"", "text/plain")
            return
        key = self.rfile.read(size).decode("ascii", "replace")
        if self.path != "/key" or not self._own_host():
            self._send(HTTPStatus.NOT_FOUND, b"", "text/plain")
        elif not hmac.compare_digest(given.encode(), self.page.token.encode()):
            self._send(HTTPStatus.FORBIDDEN, b"", "text/plain")
        elif key in KEYS or (key.startswith(pad.OFFER) and key.removeprefix(pad.OFFER).isdecimal()):
            self.page.watch.press(key)
            self._send(HTTPStatus.NO_CONTENT, b"", "text/plain")
        else:
            self._send(HTTPStatus.BAD_REQUEST, b"", "text/plain")

    def _own_host(self) -> bool:
        """Refuse names that another site may have pointed here: only an address or localhost is ours."""
        host = (self.headers.get("Host") or "").rpartition(":")[0].strip("[]") or self.headers.get("Host", "")
        try:
            ipaddress.ip_address(host)
        except ValueError:
            return host == "localhost"
        return True

    def _news(self) -> None:
        """Send a picture whenever it changed, and each second, for as long as the visit gives signs of life."""
        if not self.page.followers.acquire(blocking=False):
            self._send(HTTPStatus.SERVICE_UNAVAILABLE, b"", "text/plain")
            return
        try:
            self.send_response(HTTPStatus.OK)
            self._headers("text/event-stream", None)
            self.wfile.write(b"retry: 1000\n\n")
            self.page.followed.set()
            self._follow()
        except OSError:
            pass  # the phone has gone
        finally:
            self.page.followers.release()
            self.close_connection = True

    def _follow(self) -> None:
        sent, sent_at, over = b"", 0.0, False
        while not over:
            over = self.page.over.wait(PERIOD_S)
            if over or self.page.watch.age() <= ALIVE_S:
                news = json.dumps(self.page.news(self.page.watch.picture())).encode()
                if news != sent or time.monotonic() - sent_at >= BEAT_S:
                    self.wfile.write(b"data: " + news + b"\n\n")
                    self.wfile.flush()
                    sent, sent_at = news, time.monotonic()

    def _send(self, status: HTTPStatus, body: bytes, kind: str) -> None:
        self.send_response(status)
        self._headers(kind, len(body))
        self.wfile.write(body)

    def _headers(self, kind: str, length: int | None) -> None:
        self.send_header("Content-Type", kind)
        if length is None or self.page.over.is_set():
            self.send_header("Connection", "close")  # which closes it
        if length is not None:
            self.send_header("Content-Length", str(length))
        for name, value in HEADERS.items():
            self.send_header(name, value)
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the name is the base class's
        """Keep quiet: the screen is not for this."""


def _address(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    if not colon or not port.isdecimal() or int(port) > 65_535:
        raise Problem(
            f"{text!r} is no address", remedy="write it like 0.0.0.0:8750, or 127.0.0.1:8750 for here alone"
        )
    return host, int(port)


def _own_address() -> str:
    """Return this machine's address in its network; no packet is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address kept for documentation (RFC 5737)
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])
