"""A desk for people who sign in by passkey: each sees the visits of the offices that the list names for them.

Every person has pages of their own, over a store that sees no other office, so no page can tell of more. The list
is asked at each request: who is revoked, or moved to another office, is so at once. Whoever has not signed in
learns nothing of any visit.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send
from webauthn.helpers import bytes_to_base64url

from handsfree.desk.access_log import SIGNED_IN
from handsfree.desk.checker import Checker
from handsfree.desk.guard import HEADERS, AccessGuard, Door
from handsfree.desk.hearing_again import HearingAgain
from handsfree.desk.index import Index
from handsfree.desk.site import Desk, beside_pages
from handsfree.office.endorsing import supervisor
from handsfree.office.enrolment import EnrolledKey, Role
from handsfree.office.signatures import Assertion
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem
from handsfree.serving import WithHeaders

COOKIE = "desk-person"
LASTS_S = 12 * 3600.0
"""From signing in to signing in again: a working day, common practice, no source."""
MOST_SIGNED_IN = 1_000
PAGE = "/sign-in"


@dataclass(frozen=True)
class _SignedIn:
    """Whose key a browser showed, and when (seconds of the machine's own clock)."""

    key: str
    since: float


class SignedInDesks:
    """The pages of everybody who may sign in, over one folder of visits."""

    def __init__(
        self,
        index: Index,
        door: Door,
        beside: tuple[Checker | None, HearingAgain | None] = (None, None),
        outgoing: Path | None = None,
    ) -> None:
        self._index, self._door, self._beside, self._outgoing = index, door, beside, outgoing
        self._people: dict[str, _SignedIn] = {}
        self._desks: dict[tuple[str, frozenset[str] | None], ASGIApp] = {}
        self._nobody = Desk(index.within(()), door)

    def application(self) -> ASGIApp:
        """Return the ASGI application; the checker, and what hears visits again, run as long as it does."""
        entrance = Starlette(
            routes=[
                Route(PAGE, self._page),
                Route(f"{PAGE}/prepare", self._prepare, methods=["POST"]),
                Route(f"{PAGE}/complete", self._complete, methods=["POST"]),
                Route("/sign-out", self._leave, methods=["POST"]),
                *self._nobody.entrance(),
            ],
            exception_handlers={Problem: self._nobody.told},
            lifespan=beside_pages([each for each in self._beside if each is not None]),
        )
        addresses = (PAGE, f"{PAGE}/", "/passkey/", "/assets/", "/sign-out")
        return WithHeaders(AccessGuard(_ByPerson(self._desk_of, entrance, addresses), self._door), HEADERS)

    def _desk_of(self, headers: Headers) -> tuple[str, ASGIApp] | None:
        """Return the name and the pages of whoever is signed in; None when nobody is, or may not be any more."""
        found = self._people.get(_cookie(headers))
        if found is None or time.monotonic() - found.since > LASTS_S:
            return None
        try:
            who = supervisor(known_enrolment(self._index.enrolment), found.key)
        except Problem:
            self._people = {name: one for name, one in self._people.items() if one.key != found.key}
            return None
        seen = who.key, None if who.offices is None else frozenset(who.offices)
        if seen not in self._desks:
            desk = Desk(self._index.within(who.offices), self._door, person=who, outgoing=self._outgoing)
            self._desks[seen] = desk.application(*self._beside)
        return who.name, self._desks[seen]

    async def _page(self, _: Request) -> Response:
        return self._nobody.page("sign_in.html", form_token=self._door.form_token())

    async def _prepare(self, request: Request) -> Response:
        """Give a challenge to whoever says a name on the list."""
        form = await self._nobody.signing.form(request)
        people = await run_in_threadpool(self._named, str(form.get("name", "")), request.url.hostname or "")
        if not people:
            raise Problem("no supervisor of that name has a passkey of this desk on the office's list",
                          remedy="make one here, and hand it to the office")  # fmt: skip
        challenge = secrets.token_bytes(32)
        told = [bytes_to_base64url(bytes.fromhex(each.passkey.credential)) for each in people if each.passkey]
        answer = {"host": request.url.hostname, "challenge": bytes_to_base64url(challenge), "credentials": told}
        return JSONResponse(answer | {"token": self._nobody.signing.wait((challenge, people))})

    def _named(self, name: str, host: str) -> list[EnrolledKey]:
        listed = known_enrolment(self._index.enrolment)
        everybody = listed.of(Role.SUPERVISOR) if listed else ()
        mine = [one for one in everybody if one.name == name.strip() and one.passkey and not one.valid_until]
        return [one for one in mine if one.passkey and one.passkey.host == host]

    async def _complete(self, request: Request) -> Response:
        form = await self._nobody.signing.form(request)
        challenge, people = self._nobody.signing.taken(form.get("token"), tuple)
        who = await run_in_threadpool(_who_answered, people, challenge, form.get("assertion"))
        now = time.monotonic()
        self._people = {name: one for name, one in self._people.items() if now - one.since < LASTS_S}
        while len(self._people) >= MOST_SIGNED_IN:
            del self._people[next(iter(self._people))]
        name = secrets.token_urlsafe(24)
        self._people[name] = _SignedIn(who.key, now)
        answer = JSONResponse({"signed_in": who.name})
        tls = request.url.scheme == "https"
        answer.set_cookie(COOKIE, name, httponly=True, secure=tls, samesite="strict", path="/")
        return answer

    async def _leave(self, request: Request) -> Response:
        self._people.pop(_cookie(request.headers), None)
        return RedirectResponse(PAGE, 303)


class _ByPerson:
    """Hands a request to the pages of whoever is signed in, and to the entrance what is for everybody."""

    def __init__(
        self, desk_of: Callable[[Headers], tuple[str, ASGIApp] | None], entrance: ASGIApp, addresses: Sequence[str]
    ) -> None:
        self._desk_of, self._entrance, self._addresses = desk_of, entrance, tuple(addresses)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand on, or lead to the entrance."""
        path: str = scope.get("path", "")
        if scope["type"] != "http" or any(path == one or (one[-1] == "/" and path.startswith(one))
                                          for one in self._addresses):  # fmt: skip
            await self._entrance(scope, receive, send)
            return
        found = await run_in_threadpool(self._desk_of, Headers(scope=scope))
        if found is not None:
            scope[SIGNED_IN], desk = found
        elif scope["method"] in {"GET", "HEAD"}:
            desk = RedirectResponse(PAGE, 303)
        else:
            desk = PlainTextResponse("Sign in first.", 401)
        await desk(scope, receive, send)


def _cookie(headers: Headers) -> str:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found else ""


def _who_answered(people: Collection[EnrolledKey], challenge: bytes, answer: Any) -> EnrolledKey:
    """Return whose passkey answered the challenge; Problem when nobody's did."""
    credential = answer.get("id") if isinstance(answer, dict) else None
    for each in people:
        if each.passkey and bytes_to_base64url(bytes.fromhex(each.passkey.credential)) == credential:
            Assertion(each.passkey, answer).seal(challenge)  # raises Problem
            return each
    raise Problem("this passkey is not the one that was asked for", remedy="sign in again")
