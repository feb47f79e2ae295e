"""Asking the page over HTTP: by anybody, by the holder of the keys, and for the news."""

from __future__ import annotations

import http.client
import itertools
import json
import re
import socket
import time
from urllib.parse import urlsplit

from told import Told
from trusting import trusting

from handsfree.events.devices import DeviceChange
from handsfree.glance.presses import FOLLOW, code_of
from handsfree.glance.web import Page


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


def changed(told: Told, seconds: float = 60) -> DeviceChange | None:
    """Return the next input that is lost or found."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if (change := told.live.change()) is not None:
            return change
        told.turn()
        time.sleep(0.05)
    return None
