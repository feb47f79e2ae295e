"""The page under load: floods, many lookers, a process that is killed or hangs, and its limits."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from over_http import ask, changed, follow, press, signed, turned
from rehearsed import at, say
from told import Told

from handsfree.doorway import MOST_IDLE, Idlers
from handsfree.events.devices import DeviceChange
from handsfree.glance.page_process import MOST_FILES, MOST_MEMORY
from handsfree.glance.site import MOST_VIEWERS
from handsfree.glance.web import Page

Process = get_context("fork").Process


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


def _apart(work: Callable[[], None]) -> None:
    work()


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
