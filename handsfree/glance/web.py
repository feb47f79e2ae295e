"""The picture as a page for a phone clipped up in the closet: news as it comes, and keys for who has the token.

Nothing here asks anything of another machine. Whoever is in the same network and knows the address can look;
only who has the printed address, with the token behind its `#`, can press keys.
"""

from __future__ import annotations

import json
import secrets
import socket
import threading
from dataclasses import asdict
from types import TracebackType
from typing import Any, Self

from handsfree.glance.picture import Glance
from handsfree.glance.site import LIMITS, application
from handsfree.glance.view import clock
from handsfree.glance.watching import Watch
from handsfree.lexicon.catalogue import Catalogue
from handsfree.problem import Problem
from handsfree.serving import Server

ALIVE_S = 1.0
"""A visit silent for longer sends nothing."""
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


class Page:
    """Serves one watched visit at an address, from a thread of its own, until it is left."""

    def __init__(self, address: str, watch: Watch, catalogue: Catalogue) -> None:
        """Take "HOST:PORT", host empty for all addresses and port 0 for any; Problem when it cannot be had."""
        host, port = _address(address)
        self._server = Server(host, port, LIMITS)
        self._visit = _Visit(watch, catalogue)
        self.token = secrets.token_urlsafe(12)
        shown = _own_address() if host in {"", "0.0.0.0"} else host  # noqa: S104 - compared, not bound
        self.url = f"http://{shown}:{self._server.port}/#{self.token}"

    @property
    def followed(self) -> threading.Event:
        """Set once a phone follows the news."""
        return self._visit.has_followers

    def __enter__(self) -> Self:
        self._server.start(application(self._visit, self.token))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._visit.over = True  # each follower is sent the last picture and let go
        self._server.__exit__(kind, fault, trace)


class _Visit:
    """The watched visit as the page's site takes it."""

    def __init__(self, watch: Watch, catalogue: Catalogue) -> None:
        self._watch, self._catalogue = watch, catalogue
        self.over = False
        self.has_followers = threading.Event()

    def news(self) -> bytes | None:
        if not self.over and self._watch.age() > ALIVE_S:
            return None
        return json.dumps(self._told(self._watch.picture())).encode()

    def words(self) -> dict[str, str]:
        return {name: self._catalogue.glance.labels[label] for name, label in WORDS.items()}

    def press(self, key: str) -> None:
        self._watch.press(key)

    def followed(self) -> None:
        self.has_followers.set()

    def _told(self, picture: Glance) -> dict[str, Any]:
        enter = self._catalogue.show("key-enter")
        return {
            **asdict(picture),
            "language": self._catalogue.glance.tag,
            "left": "" if picture.bar is None else clock(picture.bar.left_ms),
            "gone": 0.0 if picture.bar is None else picture.bar.gone,
            "enter": next((key.does for key in picture.keys if key.key == enter), ""),
            "words": self.words(),
        }


def _address(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    if not colon or not port.isdecimal() or len(port) > 5 or int(port) > 65_535:
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
