"""Taking files in over links that break: the resumable upload protocol tus 1.0.0, its core and `creation`.

An upload is named by the SHA-256 of the whole file, so whoever begins it again goes on with what is here.
Its bytes are on the disk before they are acknowledged. https://tus.io/protocols/resumable-upload describes it.
"""

from __future__ import annotations

import base64
import binascii
import fcntl
import os
import re
import time
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from handsfree.handover.package import LARGEST_PACKAGE
from handsfree.ledger.files import Disk, ensure_folder
from handsfree.ledger.kinds import is_digest
from handsfree.problem import ExitCode, Problem

VERSION = "1.0.0"
LARGEST_PIECE = 4 << 20
"""Bytes of one PATCH: so much is held in memory until its digest was compared."""
MOST_UNFINISHED = 64
"""Uploads of one device that are begun and not taken in."""
FORGOTTEN_S = 30 * 24 * 3600
"""After so long without a byte an unfinished upload makes room."""
_NAME = re.compile(r"([0-9a-f]{64})-(0|[1-9]\d{0,11})\.part")
_COUNT = re.compile(r"0|[1-9]\d{0,11}")


@dataclass(frozen=True)
class Upload:
    """A file that is coming: its name says its digest and its whole length."""

    file: Path
    digest: str
    length: int

    @property
    def offset(self) -> int:
        """How many bytes are here."""
        return self.file.stat().st_size


class Uploads:
    """The unfinished uploads of all devices, in a folder with one folder for each."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def find(self, device: str, digest: str) -> Upload | None:
        """Return a device's upload of a file; None when it has begun none."""
        return next((upload for upload in self._of(device) if upload.digest == digest), None)

    def begin(self, device: str, digest: str, length: int) -> Upload:
        """Begin an upload, or return the one that is begun; Problem when it may not be."""
        if there := self.find(device, digest):
            if there.length != length:
                raise Problem("this upload was begun with another length", code=ExitCode.FAILED)
            return there
        self._make_room(device)
        folder = self._folder / device
        ensure_folder(Disk(), folder, 0o700)
        path = folder / f"{digest}-{length}.part"
        os.close(os.open(path, os.O_CREAT | os.O_WRONLY | os.O_CLOEXEC, 0o600))
        Disk().fsync_folder(folder)
        return Upload(path, digest, length)

    def add(self, upload: Upload, offset: int, data: bytes) -> int | None:
        """Write a piece and return the new offset when it is on the disk; None when it does not follow."""
        with upload.file.open("r+b") as stream:
            fcntl.flock(stream, fcntl.LOCK_EX)
            if os.fstat(stream.fileno()).st_size != offset or offset + len(data) > upload.length:
                return None
            stream.seek(offset)
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        return offset + len(data)

    def forget(self, upload: Upload) -> None:
        """Remove an upload: it was taken in, or is not what its name says."""
        upload.file.unlink(missing_ok=True)

    def _of(self, device: str) -> list[Upload]:
        try:
            names = sorted(os.listdir(self._folder / device))  # noqa: PTH208 - names are all that is wanted
        except FileNotFoundError:
            return []
        found = ((self._folder / device / name, _NAME.fullmatch(name)) for name in names)
        return [Upload(path, match[1], int(match[2])) for path, match in found if match]

    def _make_room(self, device: str) -> None:
        begun = self._of(device)
        for upload in begun:
            if upload.file.stat().st_mtime < time.time() - FORGOTTEN_S:
                self.forget(upload)
                begun = [one for one in begun if one != upload]
        if len(begun) >= MOST_UNFINISHED:
            raise Problem(f"{len(begun)} uploads of this device are unfinished", remedy="finish them first")


class UploadPages:
    """The protocol over HTTP. `request.state.device` says whose uploads are meant."""

    def __init__(self, uploads: Uploads, base: str) -> None:
        """Serve them; `base` is the path under which these routes are mounted."""
        self._uploads, self._base = uploads, base

    def routes(self) -> list[Route]:
        """Return the routes of the protocol."""
        return [
            Route("/uploads", self._create, methods=["POST", "OPTIONS"]),
            Route("/uploads/{digest}", self._one, methods=["HEAD", "PATCH", "OPTIONS"]),
        ]

    async def _create(self, request: Request) -> Response:
        if request.method == "OPTIONS":
            return _answer(204, {"Tus-Version": VERSION, "Tus-Extension": "creation",
                                 "Tus-Max-Size": str(LARGEST_PACKAGE)})  # fmt: skip
        if refused := _version(request):
            return refused
        length, digest = request.headers.get("upload-length", ""), _metadata(request).get("sha256", "")
        if not _COUNT.fullmatch(length) or not is_digest(digest):
            return _answer(400, says="An upload says its length, and its SHA-256 in the metadata `sha256`.")
        if int(length) > LARGEST_PACKAGE:
            return _answer(413, says="This is larger than any visit.")
        try:
            upload = await run_in_threadpool(self._uploads.begin, request.state.device, digest, int(length))
        except Problem as problem:
            return _answer(409, says=problem.sentence())
        headers = {"Location": f"{self._base}/uploads/{digest}", "Upload-Offset": str(upload.offset)}
        return _answer(201, headers)

    async def _one(self, request: Request) -> Response:
        if request.method == "OPTIONS":
            return _answer(204, {"Tus-Version": VERSION, "Tus-Extension": "creation"})
        if refused := _version(request):
            return refused
        upload = await run_in_threadpool(self._uploads.find, request.state.device, request.path_params["digest"])
        if upload is None:
            return _answer(404)
        if request.method == "HEAD":
            return _answer(200, {"Upload-Offset": str(upload.offset), "Upload-Length": str(upload.length)})
        return await self._add(request, upload)

    async def _add(self, request: Request, upload: Upload) -> Response:
        offset, data = request.headers.get("upload-offset", ""), await request.body()
        if request.headers.get("content-type") != "application/offset+octet-stream":
            return _answer(415)
        if not _COUNT.fullmatch(offset):
            return _answer(400, says="A piece says at which offset it belongs.")
        if len(data) > LARGEST_PIECE:
            return _answer(413, says=f"A piece has at most {LARGEST_PIECE} bytes.")
        new = await run_in_threadpool(self._uploads.add, upload, int(offset), data)
        return _answer(409 if new is None else 204, {"Upload-Offset": str(upload.offset if new is None else new)})


def _version(request: Request) -> Response | None:
    if request.headers.get("tus-resumable") == VERSION:
        return None
    return _answer(412, {"Tus-Version": VERSION})


def _answer(status: int, headers: dict[str, str] | None = None, says: str = "") -> Response:
    fixed = {"Tus-Resumable": VERSION, "Cache-Control": "no-store"}
    return PlainTextResponse(says, status, headers={**fixed, **(headers or {})})


def _metadata(request: Request) -> dict[str, str]:
    """Return the pairs of Upload-Metadata: a name, a space, and the value in base64; commas between pairs."""
    found = {}
    for pair in request.headers.get("upload-metadata", "").split(","):
        name, _, value = pair.strip().partition(" ")
        try:
            found[name] = base64.b64decode(value, validate=True).decode()
        except (binascii.Error, UnicodeDecodeError):
            continue
    return found
