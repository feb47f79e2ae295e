"""Who asked the desk for what, when it is open to a network: a line for each answer, written before it is given.

A line is a JSON object: `at` (UTC), `from` (the visitor's address), `who` (the name of whoever has signed in, else
empty), `method`, `path` (without what follows a question mark, which may hold the token) and `status`. Who is kept
out is noted in a file of its own: anybody can make as many of these lines as they like, and so would push out
those of who was let in.
"""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from handsfree.ledger import SystemClock
from handsfree.ledger.clock import stamp
from handsfree.problem import one_line

LARGEST = 16 << 20
"""Bytes; a longer file becomes `.1`, in the place of a former one."""
LONGEST_PATH = 300
NAME, NAME_OF_REFUSED = "desk-access.jsonl", "desk-refused.jsonl"
KEPT_OUT = frozenset({401, 403})
SIGNED_IN = "handsfree.signed_in"
"""Where a request carries the name of whoever asks, once that is known."""


class AccessLog:
    """An application whose every answer is noted; what cannot be noted is not shown."""

    def __init__(self, inner: ASGIApp, file: Path) -> None:
        self._inner, self._file = inner, file

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand on, and note the answer as it begins."""
        if scope["type"] != "http":
            await self._inner(scope, receive, send)
            return
        withheld = False

        async def noted(message: Message) -> None:
            nonlocal withheld
            if message["type"] == "http.response.start":
                try:
                    self._note(scope, message["status"])
                except OSError:
                    withheld = True
                    says = "The access log cannot be written, so nothing is shown. See to the disk of the desk."
                    await PlainTextResponse(says, 503)(scope, receive, send)
            if not withheld:
                await send(message)

        await self._inner(scope, receive, noted)

    def _note(self, scope: Scope, status: int) -> None:
        client = scope.get("client")
        line = {
            "at": stamp(SystemClock().now().wall),
            "from": client[0] if client else "",
            "who": scope.get(SIGNED_IN, ""),
            "method": one_line(scope["method"])[:20],
            "path": one_line(scope["path"])[:LONGEST_PATH],
            "status": status,
        }
        file = self._file.with_name(NAME_OF_REFUSED) if status in KEPT_OUT else self._file
        file.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileNotFoundError):
            if file.stat().st_size > LARGEST:
                file.replace(file.with_name(f"{file.name}.1"))
        with file.open("a", encoding="utf-8", errors="replace") as stream:
            stream.write(json.dumps(line) + "\n")
