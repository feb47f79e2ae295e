"""The page over HTTP: whoever may look, who may press, and what is sent when the visit falls silent."""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import http.client
import itertools
import json
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from multiprocessing import get_context
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest
from rehearsed import at, say
from told import Told
from trusting import trusting

from handsfree.doorway import MOST_IDLE, Idlers
from handsfree.events import inputs as inp
from handsfree.events.devices import DeviceChange
from handsfree.glance.authority import Authority
from handsfree.glance.page_process import MOST_FILES, MOST_MEMORY
from handsfree.glance.presses import FOLLOW, code_of
from handsfree.glance.site import MOST_VIEWERS
from handsfree.glance.web import Page, has_keys
from handsfree.problem import Problem

Process = get_context("fork").Process


@pytest.fixture
def told() -> Told:
    return Told(at("cover-off"))


@pytest.fixture
def page(told: Told) -> Iterator[Page]:
    with Page("127.0.0.1:0", told.live, told.plan.catalogue) as served:
        assert served.served.wait(60)
        yield served


def ask(
    page: Page, method: str, path: str, body: str = "", *, plainly: bool = False, **headers: str
) -> http.client.HTTPResponse:
    place = urlsplit(page.url).netloc
    connection = http.client.HTTPConnection(place, timeout=20)
    if not plainly:
        connection = http.client.HTTPSConnection(place, timeout=20, context=trusting())
    connection.request(method, path, body or None, headers)
    answer = connection.getresponse()
    answer.text = answer.read() if answer.length is not None else b""  # type: ignore[attr-defined]
    connection.close()
    return answer


COUNTS = itertools.count(1)


def signed(page: Page, key: str, count: int | None = None, code: str | None = None) -> dict[str, str]:
    """The headers of a press: the next count, and its code."""
    count = next(COUNTS) if count is None else count
    return {
        "X-Glance-Count": str(count),
        "X-Glance-Code": code_of(page.key_code, count, key) if code is None else code,
    }


def press(page: Page, key: str, **headers: str) -> int:
    return ask(page, "POST", "/key", key, **{**signed(page, key), **headers}).status


def turned(told: Told, seconds: float = 10) -> str | None:
    """Do as the conductor does until keys come to something: they come from another process."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if (text := told.turn()) is not None:
            return text
        time.sleep(0.02)
    return None


def follow(page: Page, *, holder: bool = False, code: str | None = None) -> socket.socket:
    """Ask for the news."""
    host, port = urlsplit(page.url).netloc.split(":")
    plain = socket.create_connection((host, int(port)), timeout=20)
    line = trusting().wrap_socket(plain, server_hostname=host) if holder else plain
    headers = signed(page, FOLLOW) if holder else {"X-Glance-View": page.view_code if code is None else code}
    head = "".join(f"{name}: {value}\r\n" for name, value in headers.items())
    line.sendall(f"GET /news HTTP/1.1\r\nHost: {host}:{port}\r\n{head}\r\n".encode())
    return line


def news(page: Page, seconds: float) -> list[dict[str, object]]:
    """Follow the news for so long."""
    with follow(page) as line:
        line.settimeout(0.3)
        until, data = time.monotonic() + seconds, b""
        while time.monotonic() < until:
            try:
                data += line.recv(65536)
            except TimeoutError:
                continue
    return [json.loads(one) for one in re.findall(rb"^data: (.*)$", data, re.MULTILINE)]


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
    for key in ("word x", "offer x", "offer -1", "Enter", "", "stop work", "e" * 17):
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
def test_a_touched_answer_is_marked_and_enter_takes_it(page: Page, told: Told) -> None:
    """Two steps, as with the arrows."""
    told.turn()
    offers = news(page, 0.5)[0]["offers"]
    assert press(page, f"offer {offers.index('hold on')}") == 204  # type: ignore[attr-defined]
    assert turned(told, 0.5) is None
    assert press(page, "enter") == 204
    assert turned(told) == "hold on"


def test_lookers_on_never_take_the_place_of_the_holder_of_the_keys(page: Page, told: Told) -> None:
    """Seven look; the eighth is turned away; the phone with the key code follows all the same."""
    told.turn()
    lines = []
    for _ in range(MOST_VIEWERS + 2):
        lines.append(follow(page))
        time.sleep(0.02)
    assert [line.recv(12) for line in lines] == [b"HTTP/1.1 200"] * MOST_VIEWERS + [b"HTTP/1.1 503"] * 2
    for _ in range(5):
        lines.append(follow(page, holder=True))
        assert lines[-1].recv(12) == b"HTTP/1.1 200"
    for line in lines:
        line.close()


def test_an_address_whose_visitors_ask_for_nothing_is_turned_away_and_no_other(page: Page, told: Told) -> None:
    """Each of them would cost time in which others wait; who comes from elsewhere, and the phone, are let in."""
    told.turn()
    host, port = urlsplit(page.url).netloc.split(":")

    def answered(source: str, sent: bytes = b"") -> bytes:
        sent = sent or f"GET /words HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode()
        line = socket.create_connection((host, int(port)), 10, (source, 0))
        with line, contextlib.suppress(ConnectionError):  # who is turned away may hear of it while writing
            line.sendall(sent)
            return line.recv(12)
        return b""

    assert answered("127.0.0.9") == b"HTTP/1.1 200"
    for _ in range(200):
        answered("127.0.0.9", b"G\0\r\n\r\n")
        if not answered("127.0.0.9"):
            break
    else:
        pytest.fail("two hundred who asked for nothing were let in")
    assert answered("127.0.0.8") == b"HTTP/1.1 200"
    assert press(page, "down") == 204


def test_visitors_who_asked_for_nothing_are_forgotten_one_a_second() -> None:
    now = [0.0]
    idlers = Idlers(lambda: now[0])
    for _ in range(3 * MOST_IDLE):
        idlers.dropped("192.0.2.1")
    assert idlers.too_many("192.0.2.1")
    assert not idlers.too_many("192.0.2.2")
    now[0] = 2.0
    assert not idlers.too_many("192.0.2.1")
    idlers.dropped("192.0.2.1")
    idlers.dropped("192.0.2.1")
    assert idlers.too_many("192.0.2.1")


@pytest.mark.slow("three hundred connections")
@pytest.mark.real_time
def test_three_hundred_dripping_connections_do_not_reach_the_visit(page: Page, told: Told) -> None:
    """Eight seconds from eight addresses: turns stay short, keys arrive, no handle of the visit is used.

    The page's process holds the flood's connections. Handles here come and go: a press's own line, two of the
    process that floods, those of a page that is replaced. None stays: as many are open afterwards as before.
    """
    told.turn()
    assert press(page, "down") == 204
    host, port = urlsplit(page.url).netloc.split(":")
    handles = len(list(Path("/proc/self/fd").iterdir()))
    over = threading.Event()

    def drip() -> None:
        lines: list[socket.socket] = []
        while not over.wait(0.05):
            while len(lines) < 300:
                source = f"127.0.0.{2 + len(lines) % 8}"
                lines.append(socket.create_connection((host, int(port)), 10, (source, 0)))
                lines[-1].setblocking(False)
            for line in list(lines):
                try:
                    line.send(b"G")
                except BlockingIOError:
                    continue
                except OSError:
                    line.close()
                    lines.remove(line)
        for line in lines:
            line.close()

    flood = Process(target=_apart, args=(drip,))
    flood.start()
    until, presses, turns = time.monotonic() + 8, [], []
    while time.monotonic() < until:
        begun = time.monotonic()
        assert press(page, "down") == 204
        presses.append(time.monotonic() - begun)
        begun = time.process_time()
        told.turn()
        turns.append(time.process_time() - begun)
        assert len(list(Path("/proc/self/fd").iterdir())) <= handles + 10  # far from 300
    flood.kill()
    flood.join()
    flood.close()
    assert len(list(Path("/proc/self/fd").iterdir())) <= handles
    assert len(presses) >= 2
    assert max(turns) < 0.2
    assert told.live.change() is None


def test_a_process_that_is_killed_comes_back_on_the_same_address(page: Page, told: Told) -> None:
    """Lost and found are told once each, as a device; an old press is still refused."""
    told.turn()
    old = signed(page, "down")
    assert ask(page, "POST", "/key", "down", **old).status == 204
    first = page.process_id
    os.kill(first, signal.SIGKILL)
    assert changed(told) == DeviceChange("page", lost=True)
    assert changed(told) == DeviceChange("page", lost=False)
    assert page.process_id not in {0, first}
    assert ask(page, "POST", "/key", "down", **old).status == 409
    assert press(page, "enter") == 204
    assert turned(told) is not None
    assert told.live.change() is None


def test_a_page_that_comes_back_still_knows_where_the_key_code_was_shown(page: Page, told: Told) -> None:
    """A flood from the phone's own address turns strangers there away, and never the phone, before or after."""
    told.turn()
    assert press(page, "down") == 204
    os.kill(page.process_id, signal.SIGKILL)
    assert changed(told) == DeviceChange("page", lost=True)
    assert changed(told) == DeviceChange("page", lost=False)
    host, port = urlsplit(page.url).netloc.split(":")
    for source in ("127.0.0.1", "127.0.0.9"):
        for _ in range(2 * MOST_IDLE):
            with socket.create_connection((host, int(port)), 10, (source, 0)) as line:
                line.sendall(b"G\0\r\n\r\n")
                with contextlib.suppress(ConnectionError):
                    line.recv(12)
    stranger = socket.create_connection((host, int(port)), 10, ("127.0.0.9", 0))
    with stranger, contextlib.suppress(ConnectionError):
        stranger.sendall(f"GET /words HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
        assert stranger.recv(12) == b""
    assert press(page, "down") == 204


@pytest.mark.slow("a process must be seen to hang")
def test_a_process_that_hangs_is_replaced(page: Page, told: Told) -> None:
    """As one that has ended."""
    os.kill(page.process_id, signal.SIGSTOP)
    assert changed(told) == DeviceChange("page", lost=True)
    assert changed(told) == DeviceChange("page", lost=False)


def test_the_process_may_take_no_more_than_it_needs(page: Page) -> None:
    """Limits of memory and handles, as the system shows them."""
    limits = Path(f"/proc/{page.process_id}/limits").read_text()
    (memory,) = re.findall(r"Max address space +(\d+)", limits)
    (files,) = re.findall(r"Max open files +(\d+)", limits)
    assert int(memory) == MOST_MEMORY
    assert int(files) == MOST_FILES
    (size,) = re.findall(r"VmSize:\s+(\d+) kB", Path(f"/proc/{page.process_id}/status").read_text())
    assert 1024 * int(size) < MOST_MEMORY / 1.5
    assert {str(Path(f"/proc/{page.process_id}/fd/{stream}").readlink()) for stream in (0, 1, 2)} == {"/dev/null"}


def changed(told: Told, seconds: float = 60) -> DeviceChange | None:
    """Return the next input that is lost or found."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if (change := told.live.change()) is not None:
            return change
        told.turn()
        time.sleep(0.05)
    return None


def _apart(work: Callable[[], None]) -> None:
    work()


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


@pytest.mark.slow("many threads")
def test_pictures_and_keys_from_many_threads_lose_nothing(told: Told) -> None:
    """A thousand digits from ten threads, while pictures are taken: each is pressed once."""
    visit = Told(at("ambient-entry"))
    say(visit.rehearsal, "hold on")

    def work() -> None:
        for _ in range(100):
            visit.live.press("right")
            visit.live.picture()

    threads = [threading.Thread(target=work) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert visit.live._presses.qsize() == 1_000


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
