"""Pages over HTTP, for the phone and for the desk: an application on an address, within limits on each connection.

A visitor who drips bytes, opens many connections, or takes nothing in is dropped; the others do not notice.
"""

from __future__ import annotations

import asyncio
import socket
import ssl
import threading
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self

import uvicorn
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from handsfree.doorway import Doorway, Idlers
from handsfree.problem import Problem

LONGEST_HEAD = 16_384
"""Bytes of a request's first line and headers."""
LONGEST_MESSAGE = 4_096
"""Bytes of a message over a WebSocket."""
MOST_KNOWN = 4
"""Addresses of visitors who proved who they are: the last ones."""
BACKLOG = 2_048
"""Connections that wait until they are taken: a thousand others are not to put off who asks."""
PARTING_S = 2.0
"""The most that the last answers may take to go out when the server ends."""


@dataclass(frozen=True)
class ServingLimits:
    """What one visitor, and all of them together, may use up."""

    connections: int = 64
    """At the same time; for a further one the oldest that has asked for nothing yet is closed, of the address that
    has most."""
    per_address: int = 32
    """Of those from one address, likewise."""
    request_s: float = 20.0
    """From a connection's opening, or the answer before, to the last byte of a request. No byte extends it."""
    taking_s: float = 20.0
    """How long a visitor may take in nothing of an answer that is ready for it."""


class WithHeaders:
    """An application whose every answer carries some headers."""

    def __init__(self, inner: ASGIApp, headers: Mapping[str, str]) -> None:
        self._inner, self._headers = inner, headers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand on; the answer's own cache-control stands, else nothing is kept."""

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(dict(self._headers))
                headers.setdefault("cache-control", "no-store")
            await send(message)

        await self._inner(scope, receive, with_headers)


def listen(host: str, port: int) -> socket.socket:
    """Take an address, `host` empty for all of this machine and port 0 for any; Problem when it cannot be had."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family, backlog=BACKLOG)
    except OSError as error:
        what = f"pages cannot be served at {host}:{port}: {error.strerror or error}"
        raise Problem(what, remedy="choose another address or port") from error


def with_known(known: Sequence[str], address: str) -> tuple[str, ...]:
    """Return the addresses of those who proved who they are, with one more: the last ones, this one last."""
    return (*(one for one in known if one != address), address)[-MOST_KNOWN:]


class Server:
    """An application on an address: `run` serves until Ctrl-C, a `with` block serves beside it.

    With `tls` whoever asks in TLS is answered so, on the same port. `known` are addresses that a server before it
    came to know.
    """

    def __init__(
        self,
        listener: socket.socket,
        limits: ServingLimits | None = None,
        tls: ssl.SSLContext | None = None,
        *,
        websockets: bool = False,
        known: Sequence[str] = (),
    ) -> None:
        self._socket, self._tls, self._websockets = listener, tls, websockets
        self.port: int = listener.getsockname()[1]
        self._limits = limits or ServingLimits()
        self._known = list(known)
        self._idlers = Idlers()
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    def run(self, application: ASGIApp) -> None:
        """Serve until a signal ends the program."""
        self._uvicorn(application).run(sockets=[self._socket])

    def start(self, application: ASGIApp) -> None:
        """Serve beside this thread, from now until the `with` block is left."""
        self._server = self._uvicorn(application)
        self._thread = threading.Thread(
            target=lambda: asyncio.run(self._serve()), name="handsfree pages", daemon=True
        )
        self._thread.start()

    def responsive(self, patience_s: float) -> bool:
        """Say whether it still takes requests in: False when it has ended, or does nothing for so long."""
        if self._thread is None or not self._thread.is_alive():
            return False
        if self._loop is None:
            return True  # it begins
        try:
            asyncio.run_coroutine_threadsafe(asyncio.sleep(0), self._loop).result(patience_s)
        except (TimeoutError, RuntimeError):
            return False
        return True

    def know(self, address: str) -> None:
        """Keep the connections from an address, of a visitor who proved who they are, when room must be made."""
        self._known[:] = with_known(self._known, address)

    async def _serve(self) -> None:
        assert self._server is not None
        self._loop = asyncio.get_running_loop()
        await self._server.serve([self._socket])

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _trace: TracebackType | None
    ) -> None:
        if self._server is not None and self._thread is not None:
            self._server.should_exit = True
            self._thread.join(PARTING_S)
            for connection in list(self._server.server_state.connections):
                if isinstance(connection, _Connection):
                    connection.drop_soon()
            self._thread.join(PARTING_S)
        self._socket.close()

    def _uvicorn(self, application: ASGIApp) -> uvicorn.Server:
        connection = type(
            "_Limited", (_Connection,), {"limits": self._limits, "known": self._known, "idlers": self._idlers}
        )
        config = uvicorn.Config(
            application, http=connection, ws="websockets-sansio" if self._websockets else "none",
            ws_max_size=LONGEST_MESSAGE, ws_per_message_deflate=False, ws_ping_interval=5.0, ws_ping_timeout=10.0,
            log_config=None, log_level="error", access_log=False, server_header=False, timeout_keep_alive=5,
            h11_max_incomplete_event_size=LONGEST_HEAD,
        )  # fmt: skip
        if self._tls is None:
            return uvicorn.Server(config)
        return Doorway(config, self._tls, self._limits.request_s, self._known, self._idlers)


class _Connection(H11Protocol):
    """One visitor's connection, dropped when it goes beyond the limits."""

    limits = ServingLimits()
    known: Sequence[str] = ()
    idlers = Idlers()
    asked = False
    _deadline: asyncio.TimerHandle | None = None
    came = 0.0
    dropped = False

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self.came = self.loop.time()
        self._drop_after(self.limits.request_s)
        # A WebSocket stands among them, too; whoever opens one answers for it.
        crowd = [one for one in self.connections if isinstance(one, _Connection) and not one.dropped]
        beside = [one for one in crowd if one.address() == self.address()]
        if len(beside) > self.limits.per_address:
            self._make_room(beside)
        elif len(crowd) > self.limits.connections:
            strangers = [one for one in crowd if one.address() not in self.known] or crowd
            counts = Counter(one.address() for one in strangers)
            self._make_room([one for one in strangers if counts[one.address()] == max(counts.values())])

    def address(self) -> str:
        """Return where it comes from."""
        return self.client[0] if self.client else ""

    def _make_room(self, crowd: list[_Connection]) -> None:
        """Drop the oldest that is not being answered, so that who keeps connections open keeps nobody out."""
        idle = [one for one in crowd if not one.answering()]
        chosen = min(idle, key=lambda one: one.came, default=self)
        chosen.dropped = True
        chosen.transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        if not self.asked:
            self.idlers.dropped(self.address())
        self._drop_after(None)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.answering():
            self.asked = True
            self._drop_after(None)

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._drop_after(None if self.answering() else self.limits.request_s)

    def pause_writing(self) -> None:
        super().pause_writing()
        self._drop_after(self.limits.taking_s)

    def resume_writing(self) -> None:
        super().resume_writing()
        self._drop_after(None if self.answering() else self.limits.request_s)

    def drop_soon(self) -> None:
        """Close at once whatever is still to go out, from any thread."""
        self.loop.call_soon_threadsafe(self.transport.abort)

    def handle_websocket_upgrade(self, event: Any) -> None:
        """Hand over to the WebSocket, which watches over itself by pings."""
        self.asked = True
        self._drop_after(None)
        super().handle_websocket_upgrade(event)

    def answering(self) -> bool:
        """Whether a request has come whole and its answer is not yet given."""
        return self.cycle is not None and not self.cycle.more_body and not self.cycle.response_complete

    def _drop_after(self, seconds: float | None) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
        self._deadline = None if seconds is None else self.loop.call_later(seconds, self.transport.abort)
