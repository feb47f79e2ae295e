"""The office's side of the hand-over over HTTP: who signed a request is told before anything else looks at it."""

from __future__ import annotations

import asyncio
import contextlib
import datetime as dt
import threading
from collections.abc import Callable
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from handsfree.handover.intake import NetworkIntake
from handsfree.handover.outbox import Outbox, signed_list
from handsfree.handover.signed_requests import EPOCH, RequestVerifier, SignedRequest
from handsfree.handover.uploads import LARGEST_PIECE, UploadPages, Uploads
from handsfree.ledger.clock import Clock, SystemClock, stamp
from handsfree.ledger.kinds import is_digest
from handsfree.objects.keeping import StoreFailed
from handsfree.office.enrolment import EnrolledKey, Enrolment, Role, read_enrolment
from handsfree.office.kept_key import KeptKey
from handsfree.problem import Problem

BASE = "/handover"
PATIENCE_S = 15.0
"""So long an answer waits for a visit to be verified; then the device asks again."""


class EnrolledDevices:
    """The devices on the office's list, which is read again whenever its file has changed."""

    def __init__(self, path: Path, clock: Clock | None = None) -> None:
        self._path, self._clock, self._lock = path, clock or SystemClock(), threading.Lock()
        self._state: tuple[int, int] = (0, 0)
        self._list: Enrolment | None = None

    def knows(self, device: str) -> bool:
        """Say whether a device key is enrolled now."""
        found = self._found(device)
        return found is not None and found.valid_at(stamp(self._clock.now().wall))

    def office_of(self, device: str) -> str:
        """Return the office that a device belongs to by the list; empty where it names none."""
        found = self._found(device)
        return found.offices[0] if found and found.offices else ""

    def _found(self, device: str) -> EnrolledKey | None:
        with self._lock:
            state = self._path.stat()
            if self._list is None or self._state != (state.st_mtime_ns, state.st_size):
                self._list, self._state = read_enrolment(self._path), (state.st_mtime_ns, state.st_size)
            return self._list.find(device, Role.DEVICE)


class SenderGuard:
    """Hands a request on, with `request.state.device` set, when an enrolled device signed it."""

    def __init__(self, inner: ASGIApp, verifier: RequestVerifier) -> None:
        self._inner, self._verifier = inner, verifier

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Read the body whole, up to its limit, and verify what signs it."""
        if scope["type"] != "http":
            await self._inner(scope, receive, send)
            return
        body = await _body(receive)
        answer: Response | None = None
        if body is None:
            answer = self._refusal(413, f"A request has at most {LARGEST_PIECE} bytes.")
        else:
            query = scope["query_string"].decode("latin-1")
            target = scope["raw_path"].decode("latin-1") + (f"?{query}" if query else "")
            headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
            request = SignedRequest(scope["method"], target, headers)
            try:
                sender = await run_in_threadpool(self._verifier.sender, request, body)
                scope.setdefault("state", {}).update(device=sender.device, credential=sender)
            except PermissionError as error:
                answer = self._refusal(401, str(error))
        await (answer or self._inner)(scope, _again(body or b"", receive), send)

    def _refusal(self, status: int, says: str) -> Response:
        return JSONResponse({"problem": says}, status, headers=self.greeting())

    def greeting(self) -> dict[str, str]:
        """Return what a device needs to sign its next request: the office's epoch and its time."""
        return {EPOCH: self._verifier.epoch, "handsfree-now": dt.datetime.now(dt.UTC).isoformat()}


class Reception:
    """All routes of the hand-over."""

    def __init__(self, intake: NetworkIntake, uploads: Uploads, outbox: Outbox, receiver: KeptKey) -> None:
        self._intake, self._uploads, self._outbox, self._receiver = intake, uploads, outbox, receiver
        self._busy: dict[str, asyncio.Future[bytes]] = {}

    def application(self, knows: Callable[[str], bool]) -> ASGIApp:
        """Return the application for devices that `knows` says are enrolled."""
        verifier = RequestVerifier(knows)
        inner = Starlette(
            routes=[
                *UploadPages(self._uploads, BASE).routes(),
                Route("/visits/{package}", self._visit, methods=["GET", "PUT"]),
                Route("/outbox", self._list),
                Route("/outbox/{digest}", self._file, methods=["GET", "DELETE"]),
            ],
            exception_handlers={StoreFailed: _store_failed, Problem: _problem},
        )
        guard = SenderGuard(inner, verifier)

        async def greet(_: Request) -> Response:
            return JSONResponse({"protocol": "tus 1.0.0, RFC 9421"}, headers=guard.greeting())

        return Starlette(routes=[Route(BASE, greet), Mount(BASE, guard)])

    async def _visit(self, request: Request) -> Response:
        """GET tells whether a package is here, by its receipt; PUT takes one in that was uploaded whole."""
        package = request.path_params["package"]
        if not is_digest(package):
            return Response(status_code=404)
        receipt = await run_in_threadpool(self._intake.receipt, package)
        if receipt is not None:
            return Response(receipt, media_type="application/json")
        if package not in self._busy:
            upload = await run_in_threadpool(self._uploads.find, request.state.device, package)
            if request.method == "GET" or upload is None:
                return Response(status_code=404)
            if upload.offset != upload.length:
                return Response(status_code=409, headers={"Upload-Offset": str(upload.offset)})
            if package not in self._busy:  # another request may have come in the meantime
                name = request.query_params.get("name", "")
                work = asyncio.wrap_future(self._intake.queued(upload, request.state.credential, name))
                self._busy[package] = work
                work.add_done_callback(lambda done: self._done(package, done))
        with contextlib.suppress(TimeoutError):
            done = await asyncio.wait_for(asyncio.shield(self._busy[package]), PATIENCE_S)
            return Response(done, 201, media_type="application/json")
        return Response(status_code=202)

    def _done(self, package: str, work: asyncio.Future[bytes]) -> None:
        del self._busy[package]
        if not work.cancelled():
            work.exception()  # whoever waits for it is told

    async def _list(self, request: Request) -> Response:
        device = request.state.device
        waiting = await run_in_threadpool(self._outbox.waiting, device)
        answers = request.query_params.get("answers", "")[:100]
        return Response(signed_list(waiting, device, answers, self._receiver), media_type="application/json")

    async def _file(self, request: Request) -> Response:
        """GET gives a piece of a waiting file from an offset on; DELETE says that the device has it."""
        device, digest = request.state.device, request.path_params["digest"]
        if request.method == "DELETE":
            return Response(
                status_code=204 if await run_in_threadpool(self._outbox.fetched, device, digest) else 404
            )
        path = await run_in_threadpool(self._outbox.find, device, digest)
        begin, size = (request.query_params.get(name, "") for name in ("from", "size"))
        if path is None or not begin.isdecimal() or not size.isdecimal():
            return Response(status_code=404)
        return Response(await run_in_threadpool(_piece, path, int(begin), min(int(size), LARGEST_PIECE)))


def _piece(path: Path, begin: int, size: int) -> bytes:
    with path.open("rb") as stream:
        stream.seek(begin)
        return stream.read(size)


def _problem(_: Request, problem: Exception) -> Response:
    return JSONResponse({"problem": str(problem)}, 422)


def _store_failed(_: Request, problem: Exception) -> Response:
    """Answer as a link that breaks: the visit is well, and the device asks again."""
    return JSONResponse({"problem": str(problem)}, 503)


async def _body(receive: Receive) -> bytes | None:
    """Return the whole body; None when it is larger than any may be."""
    body, more = b"", True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            return b""
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > LARGEST_PIECE:
            return None
    return body


def _again(body: bytes, receive: Receive) -> Receive:
    """Return a channel that gives a body which was read once more, then what comes after it."""
    given = False

    async def channel() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return channel
