"""Links of our own that break on purpose: one drops connections after some bytes, one meddles with requests."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable


class Proxy:
    """A TCP proxy on a free port; `with` ends it. `target` may be changed while it runs."""

    def __init__(self, target: int) -> None:
        self.target = target
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._open: list[socket.socket] = []
        self._thread = threading.Thread(target=self._accept, daemon=True)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for one in self._open:
            one.close()

    def _accept(self):
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            self._open.append(client)
            threading.Thread(target=self._quietly, args=(client,), daemon=True).start()

    def _quietly(self, client):
        try:
            self.serve(client)
        except OSError:
            pass
        finally:
            client.close()

    def serve(self, client: socket.socket) -> None:
        raise NotImplementedError

    def onward(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.target), timeout=20)


class DroppingProxy(Proxy):
    """Resets the connection whenever so many bytes have come from the client, in the middle of whatever it is."""

    def __init__(self, target: int, every: int) -> None:
        super().__init__(target)
        self._every, self._left, self.dropped = every, every, 0

    def serve(self, client: socket.socket) -> None:
        with self.onward() as server:
            threading.Thread(target=_pour, args=(server, client), daemon=True).start()
            while self._left > 0 and (data := client.recv(min(self._left, 16_384))):
                server.sendall(data)
                self._left -= len(data)
            if self._left <= 0:
                self.dropped, self._left = self.dropped + 1, self._every
                # SO_LINGER with no time: a reset, as a mobile network does it
                for one in (client, server):
                    one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")


Meddling = Callable[["MeddlingProxy", bytes], bytes | None]
"""Gets a whole request; returns the answer to give, or None to break the link."""


class MeddlingProxy(Proxy):
    """Takes one plain HTTP request a connection and lets a function do with it what it wants."""

    def __init__(self, target: int, meddling: Meddling) -> None:
        super().__init__(target)
        self._meddling = meddling
        self.seen: list[bytes] = []

    def serve(self, client: socket.socket) -> None:
        while request := whole(client):
            self.seen.append(request)
            answer = self._meddling(self, request)
            if answer is None:
                return
            client.sendall(answer)

    def deliver(self, request: bytes) -> bytes:
        """Send a request on over a connection of its own and return the whole answer."""
        with self.onward() as server:
            server.sendall(request)
            return whole(server, of_head=request.startswith(b"HEAD"))


def whole(stream: socket.socket, *, of_head: bool = False) -> bytes:
    """Read one message of HTTP with its body; empty when there is none."""
    data = b""
    while b"\r\n\r\n" not in data:
        more = stream.recv(65_536)
        if not more:
            return b""
        data += more
    head, _, body = data.partition(b"\r\n\r\n")
    lengths = [
        int(line.split(b":")[1]) for line in head.lower().split(b"\r\n") if line.startswith(b"content-length:")
    ]
    while not of_head and len(body) < (lengths[0] if lengths else 0):
        more = stream.recv(65_536)
        if not more:
            return b""
        body += more
    return head + b"\r\n\r\n" + body


def _pour(source: socket.socket, target: socket.socket) -> None:
    try:
        while data := source.recv(16_384):
            target.sendall(data)
    except OSError:
        pass
    finally:
        with contextlib.suppress(OSError):
            target.shutdown(socket.SHUT_WR)
