"""The uploads speak tus 1.0.0: another's client (tuspy) uploads to them, through a link that drops."""

import hashlib
import http.client
import io

import pytest
from breaking_proxies import DroppingProxy
from starlette.applications import Starlette
from starlette.middleware import Middleware
from tusclient.client import TusClient

from handsfree.handover.uploads import MOST_UNFINISHED, UploadPages, Uploads
from handsfree.problem import Problem
from handsfree.serving import Server, listen

DEVICE = "d" * 64


class _AsOneDevice:
    def __init__(self, inner):
        self._inner = inner

    async def __call__(self, scope, receive, send):
        scope.setdefault("state", {})["device"] = DEVICE
        await self._inner(scope, receive, send)


@pytest.fixture
def uploads(tmp_path):
    return Uploads(tmp_path / "uploads")


@pytest.fixture
def port(uploads):
    server = Server(listen("127.0.0.1", 0))
    site = Starlette(routes=UploadPages(uploads, "").routes(), middleware=[Middleware(_AsOneDevice)])
    with server:
        server.start(site)
        yield server.port


def test_another_client_uploads_and_goes_on_after_each_break(uploads, port):
    data = hashlib.shake_256(b"a visit").digest(400_000)
    digest = hashlib.sha256(data).hexdigest()
    with DroppingProxy(port, every=150_000) as proxy, io.BytesIO(data) as stream:
        uploader = TusClient(f"http://127.0.0.1:{proxy.port}/uploads").uploader(
            file_stream=stream, chunk_size=50_000, metadata={"sha256": digest}, retries=20, retry_delay=0
        )
        uploader.upload()
    assert proxy.dropped >= 2
    assert uploads.find(DEVICE, digest).file.read_bytes() == data


def test_pieces_that_do_not_follow_are_refused_and_change_nothing(uploads):
    upload = uploads.begin(DEVICE, "a" * 64, 10)
    assert uploads.add(upload, 0, b"01234") == 5
    assert uploads.add(upload, 0, b"01234") is None  # a second time
    assert uploads.add(upload, 6, b"6789") is None  # a gap
    assert uploads.add(upload, 5, b"567890") is None  # beyond its end
    assert uploads.begin(DEVICE, "a" * 64, 10).offset == 5
    with pytest.raises(Problem, match="another length"):
        uploads.begin(DEVICE, "a" * 64, 11)
    assert uploads.find("e" * 64, "a" * 64) is None  # another device's


def test_one_device_cannot_fill_the_disk_with_beginnings(uploads):
    for number in range(MOST_UNFINISHED):
        uploads.begin(DEVICE, f"{number:064x}", 10)
    with pytest.raises(Problem, match="unfinished"):
        uploads.begin(DEVICE, "f" * 64, 10)


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("OPTIONS", "/uploads", {}, 204),
        ("POST", "/uploads", {"Upload-Length": "5"}, 412),  # core: another version
        ("POST", "/uploads", {"Tus-Resumable": "1.0.0", "Upload-Length": "5"}, 400),
        ("POST", "/uploads", {"Tus-Resumable": "1.0.0", "Upload-Length": "x"}, 400),
        ("HEAD", "/uploads/" + "a" * 64, {"Tus-Resumable": "1.0.0"}, 404),
        ("HEAD", "/uploads/..%2f..%2fx", {"Tus-Resumable": "1.0.0"}, 404),
    ],
)  # fmt: skip
def test_what_the_protocol_says_of_other_requests(port, method, path, headers, status):
    connection = http.client.HTTPConnection("127.0.0.1", port)
    connection.request(method, path, headers=headers)
    answer = connection.getresponse()
    connection.close()
    assert answer.status == status
    assert answer.headers["Tus-Resumable"] == "1.0.0" or ".." in path
    if method == "OPTIONS":
        assert (answer.headers["Tus-Version"], answer.headers["Tus-Extension"]) == ("1.0.0", "creation")
