"""The device's line to its office: one signed request at a time, over a link that may break, double or lie."""

from __future__ import annotations

import contextlib
import datetime as dt
import http.client
import ipaddress
import json
import random
import ssl
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar
from urllib.parse import urlsplit

from handsfree.handover.credentials import RequestKey
from handsfree.handover.signed_requests import EPOCH, SignedRequest, sign
from handsfree.problem import ExitCode, Problem

LONGEST_ANSWER = 8 << 20
TIMEOUT_S = 30.0
MOST_FAILURES = 12
"""In a row; a single byte further counts as success."""
LONGEST_PAUSE_S = 30.0

Done = TypeVar("Done")


class LinkBrokenError(Exception):
    """The link broke, or what came over it cannot be an answer; the same may be tried again."""


@dataclass(frozen=True)
class HttpAnswer:
    """What came back; `headers` by their names in lower case."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    def says(self) -> str:
        """Return what the office says is wrong."""
        try:
            return str(json.loads(self.body)["problem"])
        except (ValueError, KeyError, TypeError):
            return f"it answered {self.status}"


@dataclass
class OfficeLink:
    """Requests to one office; `authority` is the file (PEM) of who vouches for its certificate."""

    address: str
    key: RequestKey
    authority: Path | None = None
    timeout_s: float = TIMEOUT_S
    pause: Callable[[float], None] = time.sleep
    _connection: http.client.HTTPConnection | None = field(default=None, repr=False)
    _epoch: str = ""
    _ahead: dt.timedelta = field(default_factory=dt.timedelta)
    """How far the office's clock is ahead of this one."""

    def __post_init__(self) -> None:
        """Refuse an address that is none, or that is not encrypted and leads elsewhere than here."""
        remedy = "like https://office.example:8471"
        try:
            parts = urlsplit(self.address)
            port = parts.port
        except ValueError as error:
            raise Problem(
                f"this is no address of an office ({error})", where=self.address, remedy=remedy
            ) from error
        strange = parts.path.strip("/") or parts.query or port == 0
        if parts.scheme not in {"https", "http"} or not parts.hostname or strange:
            raise Problem("this is no address of an office", where=self.address, remedy=remedy)
        if parts.scheme == "http" and not _is_here(parts.hostname):
            raise Problem("an office elsewhere is reached by https alone", where=self.address)

    def ask(
        self, method: str, target: str, body: bytes = b"", headers: Mapping[str, str] | None = None
    ) -> HttpAnswer:
        """Send one signed request and return its answer; LinkBrokenError when none came.

        Raises Problem when the office refuses this device.
        """
        if not self._epoch:
            self._learn(self._send(SignedRequest("GET", "/handover", {}), b""))
        for last in (False, True):
            request = SignedRequest(method, target, dict(headers or {}))
            sign(request, body, self.key, self._epoch, dt.datetime.now(dt.UTC) + self._ahead)
            answer = self._send(request, body)
            if answer.status != http.HTTPStatus.UNAUTHORIZED:
                return answer
            self._learn(answer)
            if last:
                raise Problem(f"the office refuses this device: {answer.says()}", where=self.address,
                              code=ExitCode.FAILED)  # fmt: skip
        raise AssertionError

    def patiently(self, step: Callable[[], Done], moved: Callable[[], object] = lambda: None) -> Done:
        """Return what a step does, which is tried again while the link breaks, at longer and longer intervals.

        As long as `moved` gives another value after each failure there is no end of trying. Raises Problem after
        MOST_FAILURES without it.
        """
        failures, before = 0, moved()
        while True:
            try:
                return step()
            except LinkBrokenError as error:
                now = moved()
                failures, before = (1 if now != before else failures + 1), now
                if failures > MOST_FAILURES:
                    raise Problem(f"the office cannot be reached ({error})", where=self.address,
                                  remedy="try again when there is a network; nothing is lost",
                                  code=ExitCode.FAILED) from error  # fmt: skip
                longest = min(LONGEST_PAUSE_S, 0.2 * 2**failures)
                self.pause(longest * random.uniform(0.5, 1.0))  # noqa: S311 - so that not all devices come at once

    def close(self) -> None:
        """Close the connection; the next request opens another."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _learn(self, answer: HttpAnswer) -> None:
        self._epoch = answer.headers.get(EPOCH, self._epoch)
        with contextlib.suppress(ValueError):
            office = dt.datetime.fromisoformat(answer.headers.get("handsfree-now", ""))
            self._ahead = office - dt.datetime.now(dt.UTC)

    def _send(self, request: SignedRequest, body: bytes) -> HttpAnswer:
        try:
            connection = self._connection = self._connection or self._opened()
            connection.request(request.method, request.target, body or None, dict(request.headers))
            answer = connection.getresponse()
            data = answer.read(LONGEST_ANSWER + 1)
        except ssl.SSLCertVerificationError as error:
            self.close()
            raise Problem(
                f"the office's certificate is not trusted ({error.verify_message})", where=self.address,
                remedy="name the office's authority: --trust FILE", code=ExitCode.FAILED,
            ) from error  # fmt: skip
        except (OSError, http.client.HTTPException, ValueError) as error:
            self.close()
            raise LinkBrokenError(str(error) or type(error).__name__) from error
        if len(data) > LONGEST_ANSWER or answer.status >= http.HTTPStatus.INTERNAL_SERVER_ERROR:
            self.close()
            raise LinkBrokenError(f"it answered {answer.status}")
        return HttpAnswer(answer.status, {name.lower(): value for name, value in answer.getheaders()}, data)

    def _opened(self) -> http.client.HTTPConnection:
        parts = urlsplit(self.address)
        assert parts.hostname is not None
        if parts.scheme == "http":
            return http.client.HTTPConnection(parts.hostname, parts.port, timeout=self.timeout_s)
        try:
            context = ssl.create_default_context(cafile=None if self.authority is None else str(self.authority))
        except OSError as error:
            raise Problem("this is no certificate", where=str(self.authority)) from error
        return http.client.HTTPSConnection(parts.hostname, parts.port, timeout=self.timeout_s, context=context)


def _is_here(host: str) -> bool:
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
