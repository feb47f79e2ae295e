"""One file handed over to a phone by a link that works once and for ten minutes; nothing else is served.

The link is all that opens it: whoever only looks at the visit's page has none. It is offered after the visit has
closed, so nothing that happens to it can reach the visit.
"""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from handsfree.glance.site import HEADERS, only_own_names
from handsfree.serving import WithHeaders

LASTS_S = 600.0
TOKEN_BYTES = 18
PIECE = 16_384
"""Bytes that go out at once: a phone that is gone is noticed between two of them."""


@dataclass
class PaperLink:
    """A file under a token that nobody can guess; GET takes it, once; a request for its head takes nothing."""

    content: bytes
    name: str
    media_type: str = "application/pdf"
    clock: Callable[[], float] = time.monotonic
    token: str = field(default_factory=lambda: secrets.token_urlsafe(TOKEN_BYTES))
    taken: threading.Event = field(default_factory=threading.Event)
    """Set once all of it went out."""
    _claimed: bool = field(default=False, init=False)
    """Whether it goes out to somebody now."""
    _until: float = field(init=False)

    def __post_init__(self) -> None:
        self._until = self.clock() + LASTS_S

    @property
    def path(self) -> str:
        """Where it is had, below the server's address."""
        return f"paper/{self.token}"

    @property
    def left_s(self) -> float:
        """How long it still works, seconds."""
        return max(0.0, self._until - self.clock())

    def application(self) -> ASGIApp:
        """Return the server's application."""
        route = Route("/paper/{token}", self.hand_over, methods=["GET"])
        refused = {HTTPException: lambda _, fault: Response(status_code=fault.status_code)}
        return WithHeaders(only_own_names(Starlette(routes=[route], exception_handlers=refused)), HEADERS)

    async def hand_over(self, request: Request) -> Response:
        """Give the file to the first who asks in time: 404 for another link, 410 once it is used up or over.

        While it goes out nobody else has it; where it did not get there, it can be asked for again.
        """
        if not hmac.compare_digest(request.path_params["token"].encode(), self.token.encode()):
            return Response(status_code=404)
        if request.method != "GET":
            return Response(status_code=405)
        if self._claimed or self.taken.is_set() or not self.left_s:
            return Response(status_code=410)
        self._claimed = True
        return _Sending(self)

    async def pieces(self) -> AsyncIterator[bytes]:
        """Yield the file piece by piece."""
        for start in range(0, len(self.content), PIECE):
            yield self.content[start : start + PIECE]

    def release(self) -> None:
        """Let it be asked for again, where it was not taken."""
        self._claimed = False


class _Sending(StreamingResponse):
    """The file on its way: taken once its last byte went out, free again when that failed."""

    def __init__(self, link: PaperLink) -> None:
        self._link = link
        headers = {
            "content-disposition": f'inline; filename="{link.name}"',
            "content-length": str(len(link.content)),
        }
        super().__init__(link.pieces(), media_type=link.media_type, headers=headers)

    async def stream_response(self, send: Send) -> None:
        """Send all of it; whoever leaves before its end ends this."""
        await super().stream_response(send)
        self._link.taken.set()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it, and let go of it."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._link.release()
