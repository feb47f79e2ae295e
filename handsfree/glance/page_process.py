"""The phone's page in a process of its own: whatever the network does to it, the visit does not notice."""

from __future__ import annotations

import os
import resource
import socket
import threading
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection

from handsfree.doorway import tls_context
from handsfree.glance.authority import ServerIdentity
from handsfree.glance.presses import Turnstile
from handsfree.glance.site import LIMITS, Relay, application
from handsfree.serving import Server

HEARTBEAT_S = 0.25
HUNG_S = 5.0
"""After so long without a sign of its server the process ends itself, and is replaced."""
MOST_MEMORY = 768 * 2**20
"""Bytes of addresses (RLIMIT_AS). Python, its libraries and their threads take less than half of them."""
MOST_FILES = 128
NICENESS = 5
"""A flood must not take the processor from the visit."""
PARTING_S = 1.0


@dataclass(frozen=True)
class Facts:
    """What a new process needs to know."""

    view_code: str
    key_code: str
    count: int
    """Of the last press that was taken: nothing before it may be sent again."""
    words: bytes
    identity: ServerIdentity | None
    """What the page proves itself with; without it nothing is encrypted, and the page only shows."""
    certificate: bytes
    """The device's authority, for phones to take in (DER)."""


@dataclass(frozen=True)
class News:
    """A picture as JSON, empty when the visit falls silent; the last one is `over`."""

    picture: bytes
    over: bool = False


@dataclass(frozen=True)
class Pressed:
    """A key was pressed by a holder of the key code."""

    key: str
    count: int


@dataclass(frozen=True)
class NewsFollowed:
    """Somebody follows the news."""


@dataclass(frozen=True)
class PageBeat:
    """The page is served."""


@dataclass(frozen=True)
class Parted:
    """Whoever followed has the last picture."""


def attend_page(pipe: Connection, listener: socket.socket, facts: Facts) -> None:
    """Run in the child: serve the page on a socket that listens, pass on news and keys, and say that it lives."""
    _limit()
    sending = threading.Lock()

    def tell(message: object) -> None:
        with sending:
            pipe.send(message)

    relay = Relay(facts.words, lambda key, count: tell(Pressed(key, count)), lambda: tell(NewsFollowed()))
    turnstile = Turnstile(facts.key_code, facts.count)
    tls = None if facts.identity is None else tls_context(facts.identity.chain, facts.identity.key)
    with Server(listener, LIMITS, tls) as server:
        server.start(application(relay, facts.view_code, turnstile, facts.certificate))
        while server.responsive(HUNG_S):
            tell(PageBeat())
            if not pipe.poll(HEARTBEAT_S):
                continue
            message = pipe.recv()
            if isinstance(message, News):
                relay.told(message.picture, over=message.over)
                if message.over:
                    _part(relay)
                    tell(Parted())


def _part(relay: Relay) -> None:
    until = time.monotonic() + PARTING_S
    while relay.followers and time.monotonic() < until:
        time.sleep(0.02)


def _limit() -> None:
    """Take no more than is needed, and write nothing on the technician's terminal."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nowhere, stream)
    os.nice(NICENESS)
    for what, most in (
        (resource.RLIMIT_AS, MOST_MEMORY),
        (resource.RLIMIT_NOFILE, MOST_FILES),
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(what, (most, most))
