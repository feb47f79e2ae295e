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
from handsfree.glance.phone_sound import Cut, Play, Played, SoundChanged
from handsfree.glance.presses import Turnstile
from handsfree.glance.site import LIMITS, Relay, Site
from handsfree.glance.sound_link import SoundLink
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
    switch_off: bytes = b""
    """What a phone says by itself when the link is lost at a firing gate (WAV)."""
    known: tuple[str, ...] = ()
    """Where the key code was shown from: a flood that ended the process before does not keep these out."""


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
class Signed:
    """A signature was drawn on the page of a holder of the key code."""

    whose: str
    drawing: bytes
    count: int


@dataclass(frozen=True)
class Photographed:
    """A photo came from the page of a holder of the key code; it is drawn anew."""

    gate: str
    photo: bytes
    count: int


@dataclass(frozen=True)
class KeyCodeShown:
    """Somebody at an address has shown the key code."""

    address: str


@dataclass(frozen=True)
class NewsFollowed:
    """Somebody follows the news."""


@dataclass(frozen=True)
class PageBeat:
    """The page is served."""

    frames: int = 0
    """How many frames of sound came from the phone since this process began."""


@dataclass(frozen=True)
class Parted:
    """Whoever followed has the last picture."""


def attend_page(
    pipe: Connection, listener: socket.socket, facts: Facts, wire: socket.socket | None = None
) -> None:
    """Run in the child: serve the page on a socket that listens, pass on news and keys, and say that it lives.

    With a `wire` the phone's sound goes out there.
    """
    _limit()
    sending = threading.Lock()

    def tell(message: object) -> None:
        with sending:
            pipe.send(message)

    relay = Relay(
        facts.words,
        lambda key, count: tell(Pressed(key, count)),
        lambda: tell(NewsFollowed()),
        lambda whose, drawing, count: tell(Signed(whose, drawing, count)),
        lambda gate, photo, count: tell(Photographed(gate, photo, count)),
    )
    turnstile = Turnstile(facts.key_code, facts.count)
    link = None
    if wire is not None:
        link = SoundLink(
            wire,
            lambda connected, says: tell(SoundChanged(connected, says)),
            lambda number: tell(Played(number)),
        )
    tls = None if facts.identity is None else tls_context(facts.identity.chain, facts.identity.key)
    offered = {"certificate": facts.certificate, "switch_off": facts.switch_off}
    with Server(listener, LIMITS, tls, websockets=link is not None, known=facts.known) as server:

        def know(address: str) -> None:
            server.know(address)
            tell(KeyCodeShown(address))

        site = Site(relay, facts.view_code, turnstile, **offered, link=link, know=know)
        server.start(site.application())
        while server.responsive(HUNG_S):
            tell(PageBeat(0 if link is None else link.frames))
            if not pipe.poll(HEARTBEAT_S):
                continue
            message = pipe.recv()
            if isinstance(message, News):
                relay.told(message.picture, over=message.over)
                if message.over:
                    _part(relay)
                    tell(Parted())
            elif link is not None and isinstance(message, Play):
                link.play(message.number, message.rate, message.pcm)
            elif link is not None and isinstance(message, Cut):
                link.cut()


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
