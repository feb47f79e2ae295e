"""The limits on each connection, tried over real sockets by visitors who mean no good."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.types import Receive, Scope, Send

from handsfree.problem import Problem
from handsfree.serving import LONGEST_HEAD, PARTING_S, Server, ServingLimits, listen

LIMITS = ServingLimits(connections=5, request_s=1.0, taking_s=1.0)
FLOOD = b"x" * 65_536


async def application(scope: Scope, receive: Receive, send: Send) -> None:
    """Say how much came in; at /flood send without end."""
    if scope["type"] != "http":
        return
    if scope["path"] == "/flood":

        async def without_end():
            while True:
                yield FLOOD
                await asyncio.sleep(0)

        await StreamingResponse(without_end())(scope, receive, send)
        return
    body = await Request(scope, receive).body()
    await Response(str(len(body)))(scope, receive, send)


@pytest.fixture
def server() -> Iterator[Server]:
    with Server(listen("127.0.0.1", 0), LIMITS) as serving:
        serving.start(application)
        yield serving


def line_to(server: Server) -> socket.socket:
    return socket.create_connection(("127.0.0.1", server.port), timeout=10)


def seconds_until_dropped(line: socket.socket, drip: bytes = b"") -> float:
    """How long a connection lasts, while a byte is sent each tenth of a second."""
    begun = time.monotonic()
    line.settimeout(0.1)
    for byte in range(200):
        try:
            if drip:
                line.sendall(drip[byte : byte + 1])
            if line.recv(1) == b"":
                break
        except TimeoutError:
            continue
        except OSError:
            break
    return time.monotonic() - begun


def ends(line: socket.socket) -> bool:
    """Whether an answer that is read to its end ever ends; one without an end would time out."""
    until = time.monotonic() + 10
    try:
        while line.recv(1 << 20):
            if time.monotonic() > until:
                return False
    except TimeoutError:
        return False
    except OSError:
        return True
    return True


def answers(server: Server) -> bool:
    with line_to(server) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: here\r\n\r\n")
        return line.recv(12) == b"HTTP/1.1 200"


@pytest.mark.parametrize(
    "drip",
    [
        b"",
        b"GET / HTTP/1.1\r\n" + b"X-Long: " + b"x" * 300,
        b"POST / HTTP/1.1\r\nContent-Length: 999\r\n\r\n" + b"x" * 300,
    ],
    ids=["silent", "in its header", "in its body"],
)
def test_no_byte_extends_the_time_for_a_request(server: Server, drip: bytes) -> None:
    """A second in all, however busily bytes come in; it is answered meanwhile."""
    with line_to(server) as line:
        took: list[float] = []
        dripping = threading.Thread(target=lambda: took.append(seconds_until_dropped(line, drip)))
        dripping.start()
        assert answers(server)
        dripping.join()
    assert LIMITS.request_s * 0.8 < took[0] < LIMITS.request_s + 8


def test_the_second_request_on_a_connection_has_the_same_time(server: Server) -> None:
    """It counts from the answer before."""
    with line_to(server) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: here\r\n\r\n")
        while not line.recv(4096).endswith(b"0"):
            pass
        assert seconds_until_dropped(line, b"GET / HTTP/1.1\r\n" + b"X-Long: " + b"x" * 300) < LIMITS.request_s + 8


def test_who_holds_all_connections_open_keeps_nobody_out(server: Server) -> None:
    """The oldest that has asked for nothing gives way to one that comes."""
    with ExitStack() as stack:
        for _ in range(4 * LIMITS.connections):
            stack.enter_context(line_to(server)).sendall(b"G")
        assert answers(server)


@pytest.mark.parametrize("long", ["line", "header"])
def test_a_request_whose_head_is_too_long_is_refused(server: Server, long: str) -> None:
    """Refused before it is whole."""
    path, header = ("x" * LONGEST_HEAD, "") if long == "line" else ("", "X: " + "x" * LONGEST_HEAD)
    with line_to(server) as line:
        line.sendall(f"GET /{path} HTTP/1.1\r\nHost: here\r\n{header}".encode())
        assert line.recv(12) == b"HTTP/1.1 400"


def test_connections_beyond_the_limit_are_closed_at_once(server: Server) -> None:
    """And when the others have gone, there is room again."""
    with ExitStack() as stack:
        lines = [stack.enter_context(line_to(server)) for _ in range(LIMITS.connections + 3)]
        time.sleep(0.3)
        closed = 0
        for line in lines:
            line.settimeout(0.05)
            try:
                closed += line.recv(1) == b""
            except TimeoutError:
                continue
            except OSError:
                closed += 1
        assert closed == 3
    time.sleep(0.3)
    assert answers(server)


def test_a_visitor_who_takes_nothing_in_is_dropped(server: Server) -> None:
    """What is ready for it is thrown away: it cannot hold its place."""
    with line_to(server) as line:
        line.sendall(b"GET /flood HTTP/1.1\r\nHost: here\r\n\r\n")
        time.sleep(LIMITS.taking_s + 1.0)
        assert ends(line)
    assert answers(server)


def test_the_end_waits_for_nobody() -> None:
    """A follower who never goes and never reads does not hold up the program."""
    with Server(listen("127.0.0.1", 0), ServingLimits(taking_s=60)) as serving:
        serving.start(application)
        line = line_to(serving)
        line.sendall(b"GET /flood HTTP/1.1\r\nHost: here\r\n\r\n")
        time.sleep(0.3)
        begun = time.monotonic()
    line.close()
    assert time.monotonic() - begun < PARTING_S + 5


@pytest.mark.parametrize("host", ["127.0.0.1", "no-such-name.invalid", "192.0.2.1"])
def test_an_address_that_cannot_be_had_is_told_in_one_sentence(server: Server, host: str) -> None:
    """In use, unknown, or of another machine."""
    with pytest.raises(
        Problem, match=rf"pages cannot be served at {host}:\d+: .*; choose another address or port"
    ):
        listen(host, server.port)
