"""The phone's sound in the page's process: numbered frames pass on to the recogniser, prompts go to the phone.

One phone at a time has the slot, the holder of the key code; a later one takes it over, since the earlier may be a
line that died. It runs on the server's loop; `play` and `cut` come from another thread.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import socket
import struct
import time
from collections.abc import Callable
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from handsfree.hearing.phone_microphone import FRAME_BYTES, HEAD

TICKET_S = 10.0
"""How long the right to open the link is kept for who has asked for it with the key code."""
ACK_S = 0.25
"""Between two acknowledgements: the last frame that came, and a sign of life."""
LONGEST_TEXT = 300
TAKEN_OVER = 4001
"""Why a line was closed: another phone has the sound now, and this page does not take it back by itself."""
BURST, A_SECOND = 400, 60
"""Frames that may come at once after a broken line, and each second: real time is 50."""
PIECE = 32_000
"""Bytes of a prompt that are sent at a time, so that a sign of life comes between."""


class SoundLink:
    """Hands frames from a phone to `wire`, and prompts to it.

    `changed` is told (connected, what the phone says of itself), `played` the number of a prompt that has ended.
    """

    def __init__(
        self, wire: socket.socket, changed: Callable[[bool, str], None], played: Callable[[int], None]
    ) -> None:
        self._wire, self._changed, self._played = wire, changed, played
        wire.setblocking(False)
        self._tickets: dict[str, float] = {}
        self._holder: WebSocket | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._session = 0
        self._last = -1
        self.frames = 0
        """How many came, each counted once."""

    def ticket(self) -> str:
        """Return the right to open the link, once and soon."""
        now = time.monotonic()
        self._tickets = {one: until for one, until in self._tickets.items() if until > now}
        made = secrets.token_urlsafe(12)
        self._tickets[made] = now + TICKET_S
        return made

    async def attend(self, phone: WebSocket) -> None:
        """Serve one phone until it goes, breaks the rules, or another takes its place."""
        until = self._tickets.pop(phone.query_params.get("ticket", ""), 0.0)
        if phone.url.scheme != "wss" or until < time.monotonic():
            await phone.close()
            return
        await phone.accept()
        self._loop = asyncio.get_running_loop()
        before, self._holder = self._holder, phone
        if before is not None:
            await _close(before, TAKEN_OVER)
        self._begin(phone.query_params.get("session", ""))
        self._changed(True, "")
        beat = asyncio.create_task(self._acknowledge(phone))
        try:
            await self._receive(phone)
        except (WebSocketDisconnect, ValueError, RuntimeError, KeyError):
            pass  # gone, or not our page
        finally:
            beat.cancel()
            if self._holder is phone:
                self._holder = None
                self._changed(False, "")
            await _close(phone)

    def _begin(self, session: str) -> None:
        """Go on with the numbers of a page that comes back; another loading of it begins anew."""
        named = int(session) % 2**32 if session.isascii() and session.isdecimal() and len(session) <= 10 else 0
        if named != self._session:
            self._session, self._last = named, -1

    async def _receive(self, phone: WebSocket) -> None:
        allowed, at = float(BURST), time.monotonic()
        while self._holder is phone:
            message = await phone.receive()
            if message["type"] == "websocket.disconnect":
                return
            if self._holder is not phone:
                return  # another has taken its place while it was waited for
            now = time.monotonic()
            allowed, at = min(BURST, allowed + A_SECOND * (now - at)) - 1, now
            if allowed < 0:
                return
            if message.get("bytes") is not None:
                self._frame(message["bytes"])
            else:
                self._told(message["text"])

    def _frame(self, data: bytes) -> None:
        if len(data) != 4 + FRAME_BYTES:
            raise ValueError("no frame")
        (number,) = struct.unpack_from("<I", data)
        if number <= self._last:
            return  # sent again after a broken line
        self._last = number
        self.frames += 1
        try:
            self._wire.send(HEAD.pack(self._session, number) + data[4:])
        except OSError:
            return  # nobody reads: the gap shows by the numbers

    def _told(self, text: str) -> None:
        if len(text) > LONGEST_TEXT:
            raise ValueError("too long")
        told: Any = json.loads(text)
        if isinstance(told, dict) and isinstance(told.get("ended"), int):
            self._played(told["ended"])
        elif isinstance(told, dict) and isinstance(told.get("state"), str):
            self._changed(True, told["state"][:40])
        else:
            raise ValueError("not ours")  # noqa: TRY004 - as all that our page does not say

    async def _acknowledge(self, phone: WebSocket) -> None:
        while True:
            await self._send(phone, text=json.dumps({"ack": self._last}))
            await asyncio.sleep(ACK_S)

    def play(self, number: int, rate: int, pcm: bytes) -> None:
        """Let the phone play samples (16 bits, one channel) in place of what it plays."""
        self._soon(self._play(number, rate, pcm))

    def cut(self) -> None:
        """Let the phone fall silent."""
        self._soon(self._cut())

    def _soon(self, work: Any) -> None:
        if self._loop is None:
            work.close()
        else:
            asyncio.run_coroutine_threadsafe(work, self._loop)

    async def _play(self, number: int, rate: int, pcm: bytes) -> None:
        phone = self._holder
        if phone is None:
            return
        await self._send(phone, text=json.dumps({"play": number, "rate": rate, "bytes": len(pcm)}))
        for start in range(0, len(pcm), PIECE):
            await self._send(phone, data=struct.pack("<I", number) + pcm[start : start + PIECE])

    async def _cut(self) -> None:
        if self._holder is not None:
            await self._send(self._holder, text=json.dumps({"cut": True}))

    async def _send(self, phone: WebSocket, *, text: str = "", data: bytes = b"") -> None:
        try:
            if data:
                await phone.send_bytes(data)
            else:
                await phone.send_text(text)
        except (WebSocketDisconnect, RuntimeError):
            return  # the receiving side sees that it has gone


async def _close(phone: WebSocket, code: int = 1000) -> None:
    try:
        await phone.close(code)
    except (WebSocketDisconnect, RuntimeError):
        return
