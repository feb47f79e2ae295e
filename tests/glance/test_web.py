"""The page over HTTP: whoever may look, who may press, and what is sent when the visit falls silent."""

from __future__ import annotations

import hashlib
import hmac
import re
import socket
import time
from urllib.parse import urlsplit

import numpy as np
import pytest
from over_http import ask, follow, news, press, signed, turned
from rehearsed import at
from told import Told

from handsfree.events import inputs as inp
from handsfree.glance.authority import Authority
from handsfree.glance.presses import FOLLOW, code_of
from handsfree.glance.web import Page, has_keys
from handsfree.problem import Problem


def test_anybody_who_knows_the_address_can_look(page: Page) -> None:
    """The page, its parts and its words, all from here and none of it kept."""
    for path in ("/", "/glance.css", "/glance.js", "/sha256.js", "/mark.svg", "/words"):
        answer = ask(page, "GET", path)
        assert answer.status == 200
        assert answer.headers["Cache-Control"] == "no-store"
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        text = answer.text.decode()  # type: ignore[attr-defined]
        assert not re.findall(r"(?:src|href|url\(|fetch\(|fetch\()\W*(?:https?:)?//", text)


@pytest.mark.real_time
def test_the_news_is_the_picture(page: Page, told: Told) -> None:
    """At once, and again when something changed."""
    told.turn()
    (first, *_) = news(page, 0.8)
    assert first["headline"] == "Cover off."
    assert first["enter"] == "removed"
    assert first["gate"].startswith("Gate 38 of")  # type: ignore[attr-defined]


def test_only_the_printed_address_has_the_keys(page: Page, told: Told) -> None:
    """No code, that of another key, one made with the view code; the right one moves the visit."""
    assert ask(page, "POST", "/key", "enter").status == 403
    assert press(page, "enter", **{"X-Glance-Code": code_of(page.key_code, 10**6, "stop")}) == 403
    assert press(page, "enter", **{"X-Glance-Code": code_of(page.view_code, 1, "enter")}) == 403
    assert press(page, "enter", **{"X-Glance-Count": "9" * 5000}) == 403
    assert told.turn() is None
    assert told.turn() is None
    assert press(page, "enter") == 204
    assert turned(told) is not None
    assert told.state.gate != "cover-off"


def test_in_the_open_the_page_only_shows(page: Page, told: Told) -> None:
    """A press that is taken over TLS is refused over plain HTTP; looking goes on; the certificate is there."""
    told.turn()
    assert ask(page, "POST", "/key", "enter", plainly=True, **signed(page, "enter")).status == 426
    assert ask(page, "GET", "/news", plainly=True, **signed(page, FOLLOW)).status == 426
    assert turned(told, 0.3) is None
    assert news(page, 1.5)
    answer = ask(page, "GET", "/handsfree.crt", plainly=True)
    assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
    found = hashlib.sha256(answer.text).hexdigest()  # type: ignore[attr-defined]
    assert found == page.fingerprint.replace(":", "").lower()
    assert press(page, "enter") == 204


def test_an_address_that_the_certificate_does_not_cover_is_served_without_keys(told: Told) -> None:
    """And the reason says what to do; nothing else listens for keys, and no photo is wanted in vain."""
    Authority.of_device(["192.0.2.77"])
    assert has_keys("192.0.2.77:0")
    assert not has_keys("127.0.0.1:0")
    with Page("127.0.0.1:0", told.live, told.plan.catalogue) as page:
        assert page.served.wait(60)
        assert page.url == page.view_url == page.plain_url
        assert "handsfree phone --renew" in page.why_view_only
        told.turn()
        assert ask(page, "POST", "/key", "enter", plainly=True, **signed(page, "enter")).status == 426
        assert turned(told, 0.3) is None


def test_a_press_that_was_overheard_cannot_be_sent_again(page: Page, told: Told) -> None:
    """Nor an older one that never came; whoever may press is told the last count."""
    told.turn()
    early, once = signed(page, "down"), signed(page, "down")
    assert ask(page, "POST", "/key", "down", **once).status == 204
    for again in (once, early):
        answer = ask(page, "POST", "/key", "down", **again)
        assert (answer.status, answer.text) == (409, once["X-Glance-Count"].encode())  # type: ignore[attr-defined]
    assert press(page, "enter") == 204


def test_who_sent_a_press_knows_it_by_its_code_and_not_by_its_count(page: Page) -> None:
    """Else a press of another with the same count, taken while a line was down, would pass for a STOP."""
    other = signed(page, "down", count=12)
    assert ask(page, "POST", "/key", "down", **other).status == 204
    stop = signed(page, "stop", count=12)
    answer = ask(page, "POST", "/key", "stop", **stop)
    assert answer.status == 409
    assert answer.getheader("X-Glance-Code") == other["X-Glance-Code"] != stop["X-Glance-Code"]


def test_the_phone_goes_on_with_its_alarm_after_the_stop_for_its_lost_link(told: Told) -> None:
    """The order may have reached nobody; another stop ends it."""
    visit = at("found-maximum")
    live = Told(visit).live
    assert live.firing
    live.saw(visit.take(inp.DeviceLost(at=visit.state.now, device="link")))
    assert (visit.state.status, live.firing) == ("stopped", True)
    other = at("found-maximum")
    live = Told(other).live
    live.saw(other.say("stop work"))
    assert not live.firing


def test_looking_needs_the_view_code(page: Page) -> None:
    """None, a wrong one, and the key code, which must never travel; then the right one."""
    for code in ("", "x", page.key_code):
        with follow(page, code=code) as line:
            assert line.recv(12) == b"HTTP/1.1 403"
    with follow(page) as line:
        assert line.recv(12) == b"HTTP/1.1 200"


def test_the_codes_stand_behind_the_hash_where_no_request_carries_them(page: Page) -> None:
    """And each is too long to be guessed: 96 bits."""
    assert page.view_url.endswith(f"/#{page.view_code}")
    assert page.url.endswith(f"/#{page.view_code}.{page.key_code}")
    assert page.view_code != page.key_code
    assert {len(page.view_code), len(page.key_code)} == {16}


def test_the_code_of_a_press_is_the_published_one() -> None:
    """RFC 4231, test case 2: HMAC-SHA-256 of "what do ya want for nothing?" with the key "Jefe".

    The text of a press begins with its count, so the published digest is made here from the same function.
    """
    published = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert hmac.new(b"Jefe", b"what do ya want for nothing?", "sha256").hexdigest() == published
    assert code_of("Jefe", 7, "stop") == hmac.new(b"Jefe", b"7 stop", "sha256").hexdigest()


def test_nothing_but_keys_is_taken(page: Page, told: Told) -> None:
    """No words, no other names, nothing long."""
    for key in ("word x", "offer x", "offer -1", "Enter", "", "stop work", "hazard", "hazard Gas", "e" * 65):
        assert press(page, key) in {400, 413}, key
        assert told.turn() is None, key


def test_names_that_another_site_points_here_are_refused(page: Page) -> None:
    """Only an address or localhost is ours (DNS rebinding)."""
    assert ask(page, "GET", "/", Host="evil.example").status == 403
    assert ask(page, "GET", "/news", Host="evil.example:8750").status == 403
    assert press(page, "enter", Host="evil.example") == 403
    assert ask(page, "GET", "/", Host="localhost:1").status == 200


def test_nothing_else_is_served(page: Page) -> None:
    """Four files, the words and the news."""
    for path in ("/../web.py", "/%2e%2e/web.py", "/glance.py", "//etc/passwd", "/key"):
        assert ask(page, "GET", path).status in {404, 405}, path


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
    assert turned(told) == "stop work"
    (*_, first) = news(page, 1.5)
    assert (first["condition"], first["banner"]) == ("stopped", "STOPPED")


@pytest.mark.real_time
def test_a_hazard_needs_one_touch_of_its_name(page: Page, told: Told) -> None:
    """The picture names the hazards, the gravest last; a press of one is the words that call it."""
    told.turn()
    (first, *_) = news(page, 1.5)
    names, offers = first["hazards"], first["offers"]
    assert (names[-1], offers[-1]) == ("gas-smell", "gas smell")  # type: ignore[index]
    assert press(page, "hazard gas-smell") == 204
    assert turned(told) == "gas smell"


@pytest.mark.real_time
def test_a_touched_answer_is_marked_and_enter_takes_it(page: Page, told: Told) -> None:
    """Two steps, as with the arrows."""
    told.turn()
    offers = news(page, 0.5)[0]["offers"]
    assert press(page, f"offer {offers.index('hold on')}") == 204  # type: ignore[attr-defined]
    assert turned(told, 0.5) is None
    assert press(page, "enter") == 204
    assert turned(told) == "hold on"


@pytest.mark.parametrize("address", ["8750", "host:", "127.0.0.1:70000", "127.0.0.1:x"])
def test_an_address_that_is_none_is_told(told: Told, address: str) -> None:
    """In one sentence."""
    with pytest.raises(Problem, match="is no address"):
        Page(address, told.live, told.plan.catalogue)


def test_an_address_in_use_is_told(page: Page, told: Told) -> None:
    """Before the visit begins to be led."""
    with pytest.raises(Problem, match="cannot be served"):
        Page(urlsplit(page.url).netloc, told.live, told.plan.catalogue)


def test_the_level_of_a_voice_is_measured_against_the_noise_around_it(told: Told) -> None:
    """A tone 20 dB over noise for a third of the time: found within a decibel or two."""
    dice = np.random.default_rng(1)
    noise = dice.normal(0, 100, 48_000)
    tone = np.zeros(48_000)
    tone[16_000:32_000] = 1_000 * np.sqrt(2) * np.sin(np.arange(16_000) * 2 * np.pi * 440 / 16_000)
    told.live.utterance((noise + tone).astype(np.int16))
    assert "voice 2" in told.live.picture().sound.text
    level = int(re.findall(r"voice (\d+) dB", told.live.picture().sound.text)[0])
    assert abs(level - 20) <= 2


def test_a_length_of_five_thousand_digits_is_refused_in_silence(
    page: Page, told: Told, capfd: pytest.CaptureFixture[str]
) -> None:
    """The answer says that the request is bad; the technician's terminal shows nothing."""
    host, port = urlsplit(page.url).netloc.split(":")
    with socket.create_connection((host, int(port)), timeout=5) as line:
        line.sendall(f"POST /key HTTP/1.1\r\nHost: {host}\r\nContent-Length: {'9' * 5000}\r\n\r\n".encode())
        assert line.recv(12) == b"HTTP/1.1 400"
    assert press(page, "enter") == 204
    assert turned(told) is not None
    assert capfd.readouterr() == ("", "")


def test_a_phone_that_goes_away_in_the_middle_of_a_key_is_not_spoken_of(
    page: Page, told: Told, capfd: pytest.CaptureFixture[str]
) -> None:
    """Its place is free again, and the terminal shows nothing."""
    host, port = urlsplit(page.url).netloc.split(":")
    with socket.create_connection((host, int(port)), timeout=5) as line:
        head = f"POST /key HTTP/1.1\r\nHost: {host}\r\nX-Glance-Code: x\r\nContent-Length: 5\r\n\r\n"
        line.sendall(head.encode() + b"en")
        time.sleep(0.2)
    assert press(page, "enter") == 204
    assert turned(told) is not None
    assert capfd.readouterr() == ("", "")
