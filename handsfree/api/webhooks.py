"""Telling other programs by themselves: a visit closed, stopped, or was signed.

The message is signed as the Standard Webhooks specification has it (https://www.standardwebhooks.com): HMAC-SHA256
over its id, its time and its body. What is to be told is written down first, in a file of its own, and a thread
delivers it: again after longer and longer pauses while the other program fails, and nothing here waits for it.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import hmac
import http.client
import json
import secrets
import sqlite3
import ssl
import threading
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from urllib.parse import SplitResult, urlsplit

from handsfree.api.shapes import visit_of
from handsfree.events.decisions import at_its_end
from handsfree.ledger.files import Disk, ensure_folder
from handsfree.ledger.personal import NOT_HERE
from handsfree.problem import Problem
from handsfree.store.kept import VisitRow
from handsfree.store.port import VisitStore

FILE = "webhooks.sqlite"
TIMEOUT_S = 10.0
PAUSES_S = (5, 30, 120, 600, 3600, 4 * 3600, 12 * 3600, 24 * 3600, 24 * 3600)
"""After each failure; after the last the message is given up, and `handsfree api list` says so."""
LOOK_S = 2.0
AT_ONCE = 500
"""Visits that are looked at in one transaction."""
_LIKE = "like https://example.org/told, in ASCII (others as %C3%A9), a port up to 65535"
_TABLES = """
CREATE TABLE IF NOT EXISTS hook (name TEXT PRIMARY KEY, url TEXT NOT NULL, events TEXT NOT NULL,
    secret TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS told (visit TEXT, event TEXT, what TEXT, PRIMARY KEY (visit, event, what));
CREATE TABLE IF NOT EXISTS message (id TEXT PRIMARY KEY, hook TEXT NOT NULL, body BLOB NOT NULL,
    tries INTEGER NOT NULL DEFAULT 0, due REAL NOT NULL, fault TEXT NOT NULL DEFAULT '');
CREATE TABLE IF NOT EXISTS followed (mark TEXT NOT NULL, revision INTEGER NOT NULL);
CREATE INDEX IF NOT EXISTS message_due ON message (due);
"""


class WebhookEvent(StrEnum):
    """What is told."""

    CLOSED = "closed"
    STOPPED = "stopped"
    SIGNED = "signed"


@dataclass(frozen=True)
class Webhook:
    """Whom to tell: `waiting` messages are to be delivered, `fault` is why the last of them was not."""

    name: str
    url: str
    events: tuple[WebhookEvent, ...]
    waiting: int = 0
    fault: str = ""


def signature(secret: str, identity: str, at: int, body: bytes) -> str:
    """Return the header `webhook-signature`; `secret` is base64 behind `whsec_`, `at` in seconds since 1970."""
    key = base64.b64decode(secret.removeprefix("whsec_"))
    digest = hmac.digest(key, f"{identity}.{at}.".encode() + body, hashlib.sha256)
    return "v1," + base64.b64encode(digest).decode()


class Webhooks:
    """Whom an office tells of its visits, and what is still to be told."""

    def __init__(self, state: Path, *, clock: Callable[[], float] = time.time) -> None:
        ensure_folder(Disk(), state, 0o700)
        self._file, self._clock = state / FILE, clock
        self._store: VisitStore | None = None
        self._stop, self._wake = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, name="webhooks", daemon=True)
        with self._open() as base:
            base.executescript(_TABLES)
        self._file.chmod(0o600)

    def add(self, name: str, url: str, events: Sequence[WebhookEvent]) -> str:
        """Tell a program from now on, and return the secret that signs it; Problem when it may not be told."""
        try:
            parts = urlsplit(url)
            _ = (
                parts.port,
                url.encode("ascii"),
            )  # each raises ValueError: no number up to 65535, a letter of no address
        except ValueError as error:
            raise Problem(f"this is no address ({error})", where=url, remedy=_LIKE) from error
        if parts.scheme not in {"https", "http"} or not parts.hostname:
            raise Problem("this is no address", where=url, remedy=_LIKE)
        if parts.scheme == "http" and parts.hostname not in {"localhost", "127.0.0.1", "::1"}:
            raise Problem("what is told goes by https alone", where=url)
        secret = "whsec_" + base64.b64encode(secrets.token_bytes(32)).decode()
        try:
            with self._open() as base:
                base.execute("INSERT INTO hook VALUES (?, ?, ?, ?)", (name, url, " ".join(events), secret))
        except sqlite3.IntegrityError as error:
            raise Problem("there is one of this name", where=name, remedy="remove it, or take another") from error
        return secret

    def remove(self, name: str) -> None:
        """Tell a program nothing more; Problem when there is none of this name."""
        with self._open() as base:
            if not base.execute("DELETE FROM hook WHERE name = ?", (name,)).rowcount:
                raise Problem("there is none of this name", where=name)
            base.execute("DELETE FROM message WHERE hook = ?", (name,))

    def forget(self, visits: Collection[str]) -> int:
        """Take the technician's name out of what waits, or was given up, of visits; return of how many messages.

        `visits` are the digests of their first entries.
        """
        with self._open() as base:
            found = [
                (identity, json.loads(body)) for identity, body in base.execute("SELECT id, body FROM message")
            ]
            mine = [(identity, body) for identity, body in found if body["data"]["identity"] in visits]
            for identity, body in mine:
                nameless = {**body, "data": {**body["data"], "technician": NOT_HERE}}
                base.execute("UPDATE message SET body = ? WHERE id = ?", (json.dumps(nameless).encode(), identity))
            base.commit()
            base.execute("VACUUM")
        return len(mine)

    def all(self) -> list[Webhook]:
        """Return whom is told."""
        with self._open() as base:
            return [
                Webhook(name, url, tuple(map(WebhookEvent, events.split())), waiting, fault or "")
                for name, url, events, waiting, fault in base.execute(
                    "SELECT name, url, events, count(id), max(fault) FROM hook LEFT JOIN message ON hook = name "
                    "GROUP BY name ORDER BY name"
                )
            ]

    def follow(self, store: VisitStore) -> None:
        """Notice what any program examined or signed since the last time: a command beside the desk, another desk.

        The first time it only remembers what is there: those visits are no news. In another store, such as one
        made anew, it looks at all, and what was told stays told.
        """
        mark, last = store.news()
        with self._open() as base:
            known = base.execute("SELECT mark, revision FROM followed").fetchone()
        if known == (mark, last):
            return
        after = known[1] if known and known[0] == mark else 0
        while rows := store.news_after(after, AT_ONCE):
            after = rows[-1].news
            with self._open() as base:
                for row in rows:
                    self._notice(base, row, news=known is not None)
                _remember(base, mark, after)
        with self._open() as base:
            _remember(base, mark, max(after, last))

    def notice(self, row: VisitRow) -> None:
        """Write down what is to be told of a visit that was examined or signed; nothing twice."""
        with self._open() as base:
            self._notice(base, row)
        self._wake.set()

    def _notice(self, base: sqlite3.Connection, row: VisitRow, *, news: bool = True) -> None:
        found: list[tuple[WebhookEvent, str]] = []
        whole = row.seal in {"closed", "reduced"}
        if row.outcome != "open" and whole:
            event = WebhookEvent.CLOSED if at_its_end(row.outcome) else WebhookEvent.STOPPED
            found.append((event, row.checksum))
        if row.signed and whole:
            found.append((WebhookEvent.SIGNED, row.signed))
        for event, what in found:
            told = (row.identity, event, what)
            new = base.execute("INSERT OR IGNORE INTO told VALUES (?, ?, ?)", told).rowcount and news
            for name, events in base.execute("SELECT name, events FROM hook").fetchall() if new else ():
                if event in events.split():
                    self._write_down(base, name, event, row)

    def _write_down(self, base: sqlite3.Connection, name: str, event: WebhookEvent, row: VisitRow) -> None:
        body = {"type": event.value, "data": visit_of(row).model_dump()}
        values = ("msg_" + secrets.token_hex(12), name, json.dumps(body).encode(), self._clock())
        base.execute("INSERT INTO message (id, hook, body, due) VALUES (?, ?, ?, ?)", values)

    def deliver(self) -> int:
        """Deliver what is due, once each, and return how many were taken."""
        with self._open() as base:
            waiting = base.execute(
                "SELECT id, url, secret, body, tries FROM message JOIN hook ON hook = name WHERE due <= ? "
                "ORDER BY due LIMIT 100", (self._clock(),),
            ).fetchall()  # fmt: skip
        taken = 0
        for identity, url, secret, body, tries in waiting:
            fault = self._told(url, secret, identity, body)
            taken += not fault
            with self._open() as base:
                if not fault:
                    base.execute("DELETE FROM message WHERE id = ?", (identity,))
                else:
                    last = tries + 1 > len(PAUSES_S)
                    due = float("inf") if last else self._clock() + PAUSES_S[tries]
                    base.execute("UPDATE message SET tries = tries + 1, due = ?, fault = ? WHERE id = ?",
                                 (due, fault, identity))  # fmt: skip
        return taken

    def start(self, store: VisitStore | None = None) -> None:
        """Follow a store, and deliver, beside this thread, until `stop`."""
        self._store = store
        self._thread.start()

    def stop(self) -> None:
        """End delivering; what is left goes out at the next start."""
        self._stop.set()
        self._wake.set()
        self._thread.join(TIMEOUT_S)

    def _run(self) -> None:
        while not self._stop.is_set():
            with contextlib.suppress(Exception):  # a full disk, say: it is tried again, and this thread never ends
                if self._store is not None:
                    self.follow(self._store)
            with contextlib.suppress(Exception):
                self.deliver()
            self._wake.wait(LOOK_S)
            self._wake.clear()

    def _told(self, url: str, secret: str, identity: str, body: bytes) -> str:
        """Tell once; return why it was not taken, empty when it was."""
        line: http.client.HTTPConnection | None = None
        try:
            parts, at = urlsplit(url), int(self._clock())
            headers = {"Content-Type": "application/json", "webhook-id": identity, "webhook-timestamp": str(at),
                       "webhook-signature": signature(secret, identity, at, body)}  # fmt: skip
            line = _line(parts)
            line.request("POST", (parts.path or "/") + (f"?{parts.query}" if parts.query else ""), body, headers)
            status = line.getresponse().status
        except Exception as error:  # noqa: BLE001 - whatever is wrong with one address, the others are told
            return str(error) or type(error).__name__
        finally:
            if line is not None:
                line.close()
        return "" if 200 <= status < 300 else f"it answered {status}"

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        with closing(sqlite3.connect(self._file, timeout=30)) as base, base:
            yield base


def _remember(base: sqlite3.Connection, mark: str, news: int) -> None:
    base.execute("DELETE FROM followed")
    base.execute("INSERT INTO followed VALUES (?, ?)", (mark, news))


def _line(parts: SplitResult) -> http.client.HTTPConnection:
    """Return a connection that is not open yet; ValueError when the port is none."""
    host, port = parts.hostname or "", parts.port
    if parts.scheme == "http":
        return http.client.HTTPConnection(host, port, timeout=TIMEOUT_S)
    return http.client.HTTPSConnection(host, port, timeout=TIMEOUT_S, context=ssl.create_default_context())
