"""One port for plain connections and encrypted ones: what begins a TLS handshake is told from what does not.

Whoever opens a connection and says nothing, or drips a handshake, has a deadline like any other visitor. Letting
one in that asks for nothing costs half a millisecond: a thousand that come again and again would keep the others
waiting in the queue for as long as that takes. So an address whose visitors asked for nothing is turned away at
the door for a while, which costs far less (`tests/bench/glance/knocking.py`).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import ssl
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from functools import partial

import uvicorn

HANDSHAKE = 22
"""The first byte of a TLS connection: the content type of its first record (RFC 8446, 5.1)."""
MOST_KNOCKING = 24
"""Connections that are not let in yet; for a further one the oldest is closed, of the address that has most."""
PAUSE_S = 0.1
"""After a connection could not be taken, because handles are short."""
MOST_IDLE = 64
"""Visitors of one address that were dropped before they asked for anything; each second one is forgotten."""
MOST_ADDRESSES = 4_096
AT_A_GO = 32
"""Visitors turned away before anybody else is looked after."""


class Idlers:
    """Counts, by address, the visitors who were dropped before they had asked for anything."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._counts: dict[str, tuple[float, float]] = {}
        """How many, and when that was so."""

    def dropped(self, address: str) -> None:
        """Count one that was dropped."""
        if len(self._counts) >= MOST_ADDRESSES:
            self._counts = {one: found for one, found in self._counts.items() if self._count(one) > 0}
        if address in self._counts or len(self._counts) < MOST_ADDRESSES:
            self._counts[address] = (min(self._count(address), MOST_IDLE) + 1, self._clock())

    def too_many(self, address: str) -> bool:
        """Say whether nobody from there is let in at the moment."""
        return self._count(address) >= MOST_IDLE

    def _count(self, address: str) -> float:
        count, at = self._counts.get(address, (0.0, 0.0))
        return max(0.0, count - (self._clock() - at))


def tls_context(chain: bytes, key: bytes) -> ssl.SSLContext:
    """Return what a server encrypts with (PEM in): TLS 1.2 or newer."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    prove_with(context, chain, key)
    return context


def prove_with(context: ssl.SSLContext, chain: bytes, key: bytes) -> None:
    """Let a server prove itself by this certificate from its next connection on (PEM)."""
    handle, path = tempfile.mkstemp()  # readable by its owner alone; the library takes files only
    try:
        with open(handle, "wb") as file:  # noqa: PTH123 - it is open already
            file.write(chain + key)
        context.load_cert_chain(path)
    finally:
        os.unlink(path)  # noqa: PTH108 - as it was made


class Doorway(uvicorn.Server):
    """A server that lets in who asks plainly, and who asks in TLS; each within `patience_s`."""

    def __init__(
        self, config: uvicorn.Config, tls: ssl.SSLContext, patience_s: float, known: Sequence[str], idlers: Idlers
    ) -> None:
        """`known` are addresses from which nobody is turned away to make room."""
        super().__init__(config)
        self._tls, self._patience_s, self._known, self._idlers = tls, patience_s, known, idlers
        self._accepting: list[asyncio.Task[None]] = []
        self._knocking: dict[asyncio.Task[None], str] = {}
        """Who is not let in yet, oldest first, and from where."""

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to take connections."""
        await self.lifespan.startup()
        self.servers = []
        for listener in sockets or ():
            listener.setblocking(False)
            self._accepting.append(asyncio.create_task(self._accept(listener)))
        self.started = True

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Take no more connections, then end as any server."""
        tasks = [*self._accepting, *self._knocking]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await super().shutdown(sockets)

    async def _accept(self, listener: socket.socket) -> None:
        loop, turned_away = asyncio.get_running_loop(), 0
        while True:
            try:
                line, place = await loop.sock_accept(listener)
            except OSError:
                await asyncio.sleep(PAUSE_S)
                continue
            if place[0] not in self._known and self._idlers.too_many(place[0]):
                line.close()
                turned_away += 1
                if turned_away % AT_A_GO == 0:
                    await asyncio.sleep(0)
                continue
            if len(self._knocking) >= MOST_KNOCKING:
                self._make_room()
            task = asyncio.create_task(self._let_in(line))
            self._knocking[task] = place[0]
            task.add_done_callback(partial(self._let_go, line))
            await asyncio.sleep(0)  # a full queue would else be taken whole before anybody is let in

    def _let_go(self, line: socket.socket, task: asyncio.Task[None]) -> None:
        self._knocking.pop(task, None)
        if task.cancelled():  # perhaps before it began
            line.close()

    def _make_room(self) -> None:
        strangers = {
            one: place for one, place in self._knocking.items() if place not in self._known
        } or self._knocking
        counts = Counter(strangers.values())
        chosen = next(one for one, place in strangers.items() if counts[place] == max(counts.values()))
        self._idlers.dropped(self._knocking.pop(chosen))
        chosen.cancel()

    async def _let_in(self, line: socket.socket) -> None:
        loop, made = asyncio.get_running_loop(), False
        with contextlib.suppress(OSError, TimeoutError):
            try:
                async with asyncio.timeout(self._patience_s):
                    tls = self._tls if await _first_byte(line) == HANDSHAKE else None
                    limits = (
                        {"ssl_handshake_timeout": self._patience_s, "ssl_shutdown_timeout": 1.0} if tls else {}
                    )
                    made = True  # from here on the connection closes its socket itself
                    await loop.connect_accepted_socket(self._protocol, line, ssl=tls, **limits)
            finally:
                if not made:
                    line.close()

    def _protocol(self) -> asyncio.Protocol:
        make = self.config.http_protocol_class
        return make(config=self.config, server_state=self.server_state, app_state=self.lifespan.state)  # type: ignore[call-arg]


async def _first_byte(line: socket.socket) -> int:
    """Return the first byte that comes, without taking it; ConnectionResetError when the visitor has gone."""
    loop = asyncio.get_running_loop()
    line.setblocking(False)
    come: asyncio.Future[None] = loop.create_future()

    def readable() -> None:
        if not come.done():
            come.set_result(None)

    loop.add_reader(line, readable)
    try:
        await come
    finally:
        loop.remove_reader(line)
    first = line.recv(1, socket.MSG_PEEK)
    if not first:
        raise ConnectionResetError
    return first[0]
