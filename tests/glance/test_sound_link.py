"""One phone has the sound at a time: who comes later takes it over, and who was taken over is told so."""

from __future__ import annotations

import socket
import struct
from collections.abc import Iterator

import pytest
from starlette.applications import Starlette
from starlette.routing import WebSocketRoute
from starlette.testclient import TestClient, WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from handsfree.glance.sound_link import TAKEN_OVER, SoundLink
from handsfree.hearing.phone_microphone import FRAME_BYTES


@pytest.fixture
def ends() -> Iterator[tuple[socket.socket, socket.socket]]:
    near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    far.settimeout(5)
    with near, far:
        yield near, far


def frame(number: int) -> bytes:
    return struct.pack("<I", number) + bytes(FRAME_BYTES)


def closed(line: WebSocketTestSession) -> int:
    """Take what comes until it is closed; return why."""
    for _ in range(50):
        try:
            line.receive_text()
        except WebSocketDisconnect as gone:
            return gone.code
    raise AssertionError("it was never closed")


def test_a_later_phone_takes_the_sound_over_and_the_earlier_is_told(
    ends: tuple[socket.socket, socket.socket],
) -> None:
    """By a code of its own, so that its page does not take it back; the numbers begin anew for the later one."""
    near, far = ends
    link = SoundLink(near, lambda *_: None, lambda _: None)
    app = Starlette(routes=[WebSocketRoute("/sound", link.attend)])
    with TestClient(app, base_url="https://testserver") as client:

        def opened(session: int) -> WebSocketTestSession:
            return client.websocket_connect(f"wss://testserver/sound?ticket={link.ticket()}&session={session}")

        with opened(1) as first:
            first.send_bytes(frame(30_000))
            assert far.recv(4096)
            with opened(2) as second:
                assert closed(first) == TAKEN_OVER
                second.send_bytes(frame(0))
                assert far.recv(4096)
                assert link.frames == 2
