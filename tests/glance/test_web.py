"""The page over HTTP: whoever may look, who may press, and what is sent when the visit falls silent."""

from __future__ import annotations

import http.client
import json
import re
import socket
import threading
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

import numpy as np
import pytest
from rehearsed import at, say
from told import Told

from handsfree.glance.web import Page
from handsfree.problem import Problem


@pytest.fixture
def told() -> Told:
    return Told(at("cover-off"))


@pytest.fixture
def page(told: Told) -> Iterator[Page]:
    with Page("127.0.0.1:0", told.watch, told.plan.catalogue) as served:
        yield served


def ask(page: Page, method: str, path: str, body: str = "", **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection(urlsplit(page.url).netloc, timeout=5)
    connection.request(method, path, body or None, headers)
    answer = connection.getresponse()
    answer.text = answer.read() if answer.length is not None else b""  # type: ignore[attr-defined]
    connection.close()
    return answer


def press(page: Page, key: str, token: str | None = None, **headers: str) -> int:
    return ask(
        page, "POST", "/key", key, **{"X-Glance-Key": page.token if token is None else token, **headers}
    ).status


def news(page: Page, seconds: float) -> list[dict[str, object]]:
    """Follow the news for so long."""
    host, port = urlsplit(page.url).netloc.split(":")
    with socket.create_connection((host, int(port)), timeout=0.3) as line:
        line.sendall(f"GET /news HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
        until, data = time.monotonic() + seconds, b""
        while time.monotonic() < until:
            try:
                data += line.recv(65536)
            except TimeoutError:
                continue
    return [json.loads(one) for one in re.findall(rb"^data: (.*)$", data, re.MULTILINE)]


def test_anybody_who_knows_the_address_can_look(page: Page) -> None:
    """The page, its parts and its words, all from here and none of it kept."""
    for path in ("/", "/glance.css", "/glance.js", "/mark.svg", "/words"):
        answer = ask(page, "GET", path)
        assert answer.status == 200
        assert answer.headers["Cache-Control"] == "no-store"
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        text = answer.text.decode()  # type: ignore[attr-defined]
        assert not re.findall(r"(?:src|href|url\(|fetch\(|EventSource\()\W*(?:https?:)?//", text)


@pytest.mark.real_time
def test_the_news_is_the_picture(page: Page, told: Told) -> None:
    """At once, and again when something changed."""
    told.turn()
    (first, *_) = news(page, 0.8)
    assert first["headline"] == "Cover off."
    assert first["enter"] == "removed"
    assert first["gate"].startswith("Gate 38 of")  # type: ignore[attr-defined]


def test_only_the_printed_address_has_the_keys(page: Page, told: Told) -> None:
    """No token, a wrong one, and the right one; the key then moves the visit."""
    assert press(page, "enter", token="") == 403
    assert press(page, "enter", token=page.token[:-1]) == 403
    assert told.turn() is None
    assert told.turn() is None
    assert press(page, "enter") == 204
    assert told.turn() == "removed"
    assert told.state.gate != "cover-off"


def test_the_token_stands_behind_the_hash_where_no_request_carries_it(page: Page) -> None:
    """And it is too long to be guessed: 96 bits."""
    assert page.url.endswith(f"/#{page.token}")
    assert len(page.token) == 16


@pytest.mark.parametrize("key", ["word x", "offer x", "offer -1", "Enter", "", "stop work", "e" * 17])
def test_nothing_but_keys_is_taken(page: Page, told: Told, key: str) -> None:
    """No words, no other names, nothing long."""
    assert press(page, key) in {400, 413}
    assert told.turn() is None


def test_names_that_another_site_points_here_are_refused(page: Page) -> None:
    """Only an address or localhost is ours (DNS rebinding)."""
    assert ask(page, "GET", "/", Host="evil.example").status == 403
    assert ask(page, "GET", "/news", Host="evil.example:8750").status == 403
    assert press(page, "enter", Host="evil.example") == 403
    assert ask(page, "GET", "/", Host="localhost:1").status == 200


@pytest.mark.parametrize("path", ["/../web.py", "/%2e%2e/web.py", "/glance.py", "//etc/passwd", "/key"])
def test_nothing_else_is_served(page: Page, path: str) -> None:
    """Four files, the words and the news."""
    assert ask(page, "GET", path).status in {404, 405}


@pytest.mark.real_time
def test_a_visit_without_a_sign_of_life_sends_nothing(page: Page, told: Told) -> None:
    """So that the page covers what it shows; it goes on when the visit does."""
    told.turn()
    assert news(page, 0.6)
    time.sleep(1.1)
    assert news(page, 1.0) == []
    told.turn()
    assert news(page, 0.6)


@pytest.mark.real_time
def test_a_stopped_visit_needs_one_touch_and_shows_it(page: Page, told: Told) -> None:
    """The button that says STOP."""
    told.turn()
    assert press(page, "stop") == 204
    assert told.turn() == "stop work"
    (first, *_) = news(page, 0.8)
    assert (first["condition"], first["banner"]) == ("stopped", "STOPPED")


@pytest.mark.real_time
def test_a_touched_answer_is_marked_and_enter_takes_it(page: Page, told: Told) -> None:
    """Two steps, as with the arrows."""
    told.turn()
    offers = news(page, 0.5)[0]["offers"]
    assert press(page, f"offer {offers.index('hold on')}") == 204  # type: ignore[attr-defined]
    assert told.turn() is None
    assert press(page, "enter") == 204
    assert told.turn() == "hold on"


def test_more_followers_than_a_closet_holds_are_turned_away(page: Page, told: Told) -> None:
    """Eight at a time; the ninth may come when one has gone."""
    told.turn()
    host, port = urlsplit(page.url).netloc.split(":")
    lines = [socket.create_connection((host, int(port))) for _ in range(9)]
    for line in lines:
        line.sendall(f"GET /news HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
        time.sleep(0.02)
    answers = [line.recv(12) for line in lines]
    for line in lines:
        line.close()
    assert sorted(answers) == [b"HTTP/1.1 200"] * 8 + [b"HTTP/1.1 503"]


@pytest.mark.parametrize("address", ["8750", "host:", "127.0.0.1:70000", "127.0.0.1:x"])
def test_an_address_that_is_none_is_told(told: Told, address: str) -> None:
    """In one sentence."""
    with pytest.raises(Problem, match="is no address"):
        Page(address, told.watch, told.plan.catalogue)


def test_an_address_in_use_is_told(page: Page, told: Told) -> None:
    """Before the visit begins to be led."""
    with pytest.raises(Problem, match="cannot be served"):
        Page(urlsplit(page.url).netloc, told.watch, told.plan.catalogue)


def test_the_level_of_a_voice_is_measured_against_the_noise_around_it(told: Told) -> None:
    """A tone 20 dB over noise for a third of the time: found within a decibel or two."""
    dice = np.random.default_rng(1)
    noise = dice.normal(0, 100, 48_000)
    tone = np.zeros(48_000)
    tone[16_000:32_000] = 1_000 * np.sqrt(2) * np.sin(np.arange(16_000) * 2 * np.pi * 440 / 16_000)
    told.watch.utterance((noise + tone).astype(np.int16))
    assert "voice 2" in told.watch.picture().sound.text
    level = int(re.findall(r"voice (\d+) dB", told.watch.picture().sound.text)[0])
    assert abs(level - 20) <= 2


def test_pictures_and_keys_from_many_threads_lose_nothing(told: Told) -> None:
    """A thousand digits from ten threads, while pictures are taken: each is pressed once."""
    visit = Told(at("ambient-entry"))
    say(visit.rehearsal, "hold on")

    def work() -> None:
        for _ in range(100):
            visit.watch.press("right")
            visit.watch.picture()

    threads = [threading.Thread(target=work) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert visit.watch._presses.qsize() == 1_000


def test_a_length_of_five_thousand_digits_is_refused_in_silence(
    page: Page, told: Told, capfd: pytest.CaptureFixture[str]
) -> None:
    """The answer says that the request is bad; the technician's terminal shows nothing."""
    host, port = urlsplit(page.url).netloc.split(":")
    with socket.create_connection((host, int(port)), timeout=5) as line:
        line.sendall(f"POST /key HTTP/1.1\r\nHost: {host}\r\nContent-Length: {'9' * 5000}\r\n\r\n".encode())
        assert line.recv(12) == b"HTTP/1.1 400"
    assert press(page, "enter") == 204
    told.turn()
    assert capfd.readouterr() == ("", "")


def test_a_phone_that_goes_away_in_the_middle_of_a_key_is_not_spoken_of(
    page: Page, told: Told, capfd: pytest.CaptureFixture[str]
) -> None:
    """Its place is free again, and the terminal shows nothing."""
    host, port = urlsplit(page.url).netloc.split(":")
    with socket.create_connection((host, int(port)), timeout=5) as line:
        head = f"POST /key HTTP/1.1\r\nHost: {host}\r\nX-Glance-Key: {page.token}\r\nContent-Length: 5\r\n\r\n"
        line.sendall(head.encode() + b"en")
        time.sleep(0.2)
    assert press(page, "enter") == 204
    time.sleep(0.2)
    assert told.turn() is not None
    assert capfd.readouterr() == ("", "")
