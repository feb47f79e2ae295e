"""The one-use link: the first who asks in time has the file, nobody else does, and nothing else is served.

Status codes as RFC 9110 names them: 404 not found, 405 method not allowed, 410 gone.
"""

from __future__ import annotations

import asyncio
from contextlib import suppress

import pytest
from starlette.requests import ClientDisconnect, Request
from starlette.testclient import TestClient
from starlette.types import Message

from handsfree.glance.paper_link import LASTS_S, PIECE, PaperLink


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def link(clock: Clock) -> PaperLink:
    return PaperLink(b"%PDF-1.4 a page", "customer.pdf", clock=clock)


def client(link: PaperLink) -> TestClient:
    return TestClient(link.application(), base_url="http://127.0.0.1:8750")


def test_the_first_who_asks_has_the_file_and_nobody_after(link: PaperLink) -> None:
    phone = client(link)
    answer = phone.get(link.path)
    assert (answer.status_code, answer.content) == (200, b"%PDF-1.4 a page")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["cache-control"] == "no-store"
    assert link.taken.is_set()
    assert phone.get(link.path).status_code == 410


@pytest.mark.parametrize("version", ["2.3", "2.4"])
def test_what_did_not_get_there_can_be_asked_for_again(clock: Clock, version: str) -> None:
    """The phone is lost after the first piece: as an error of sending or as its leaving (ASGI 2.4, 2.3)."""
    link = PaperLink(b"x" * 3 * PIECE, "customer.pdf", clock=clock)
    scope = {
        "type": "http", "asgi": {"spec_version": version}, "method": "GET", "path": f"/{link.path}", "headers": [],
        "path_params": {"token": link.token},
    }  # fmt: skip
    gone = asyncio.Event()

    async def receive() -> Message:
        await gone.wait()
        return {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        if message.get("body"):
            gone.set()
            await asyncio.sleep(0)
            if version == "2.4":
                raise OSError
            await asyncio.sleep(60)

    async def lost() -> int:
        answer = await link.hand_over(Request(scope))
        beside = await link.hand_over(Request(scope))
        with suppress(ClientDisconnect):
            await answer(scope, receive, send)
        return beside.status_code

    assert asyncio.run(lost()) == 410
    assert not link.taken.is_set()
    assert len(client(link).get(link.path).content) == 3 * PIECE
    assert link.taken.is_set()


def test_it_works_for_ten_minutes_and_no_longer(link: PaperLink, clock: Clock) -> None:
    clock.now = LASTS_S
    assert client(link).get(link.path).status_code == 410
    assert not link.taken.is_set()
    assert LASTS_S == 600


@pytest.mark.parametrize("path", ["/", "/paper/", "/paper/x", "/glance.js", "/news", "/paper/../ledger.jsonl"])
def test_nothing_else_is_served(link: PaperLink, path: str) -> None:
    assert client(link).get(path).status_code == 404
    assert not link.taken.is_set()


def test_a_look_ahead_takes_nothing(link: PaperLink) -> None:
    """Programs that show a preview of a link may ask for its head first."""
    assert client(link).head(link.path).status_code == 405
    assert client(link).post(link.path).status_code == 405
    assert client(link).get(link.path).status_code == 200


def test_a_name_that_another_site_points_here_is_refused(link: PaperLink) -> None:
    """As for the page of the visit: a foreign name in the Host header is not ours."""
    assert client(link).get(link.path, headers={"host": "elsewhere.example"}).status_code == 403
    assert not link.taken.is_set()


def test_no_two_links_are_alike(link: PaperLink) -> None:
    """Eighteen random bytes are 144 bits, more than the 112 that NIST SP 800-57 part 1 asks for."""
    other = PaperLink(b"", "customer.pdf")
    assert other.token != link.token
    assert len(link.token) == 24
