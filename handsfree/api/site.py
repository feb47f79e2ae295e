"""The API over HTTP: read-only, each request by a token; whoever has none learns nothing but the description."""

from __future__ import annotations

import datetime as dt
from collections.abc import Awaitable, Callable, Iterator
from urllib.parse import urlencode

from pydantic import BaseModel
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from handsfree.api.calendar import due
from handsfree.api.described import BASE, FILTERS, description
from handsfree.api.shapes import ApiHazardPage, ApiProblem, ApiVisitPage, hazard_of, visit_of
from handsfree.api.tokens import ApiTokens, TokenScope
from handsfree.store.kept import VisitRow
from handsfree.store.port import PAGE, VisitStore
from handsfree.store.wanted import ListWanted, wanted_of

MOST_PAGES = 40
"""Of visits, newest first, that the calendar is made from."""

_Answering = Callable[[Request, VisitStore], Awaitable[Response]]


class ApiSite:
    """The routes over what is kept of visits."""

    def __init__(self, store: VisitStore, tokens: ApiTokens) -> None:
        self._store, self._tokens = store, tokens

    def application(self) -> ASGIApp:
        """Return the application."""
        return Starlette(
            routes=[
                Route(f"{BASE}/openapi.json", self._description),
                Route(f"{BASE}/visits", self._for(TokenScope.VISITS, self._visits)),
                Route(f"{BASE}/visits/{{key}}", self._for(TokenScope.VISITS, self._visit)),
                Route(f"{BASE}/hazards", self._for(TokenScope.HAZARDS, self._hazards)),
                Route(f"{BASE}/calendar.ics", self._for(TokenScope.CALENDAR, self._calendar)),
            ]
        )

    def _for(self, scope: TokenScope, page: _Answering) -> Callable[[Request], Awaitable[Response]]:
        async def answer(request: Request) -> Response:
            word, _, secret = request.headers.get("authorization", "").partition(" ")
            if word.lower() != "bearer":  # a calendar program can keep an address alone
                secret = request.query_params.get("token", "") if scope is TokenScope.CALENDAR else ""
            token = await run_in_threadpool(self._tokens.find, secret) if secret else None
            if token is None:
                fault = _problem(401, "This needs a token that stands.")
                fault.headers["WWW-Authenticate"] = "Bearer"
                return fault
            if scope not in token.scopes:
                return _problem(403, f"This token may not read {scope.value}.")
            return await page(request, self._store.within(token.offices))

        return answer

    async def _description(self, _: Request) -> Response:
        return JSONResponse(description())

    async def _visits(self, request: Request, store: VisitStore) -> Response:
        given = {name: request.query_params[name] for name in (*FILTERS, "page") if name in request.query_params}
        wanted = wanted_of({**given, "sort": "day"})
        rows, total = await run_in_threadpool(store.find, wanted)
        following = _following("visits", given, wanted.page) if wanted.page * PAGE < total else ""
        return _json(ApiVisitPage(total=total, items=[visit_of(row) for row in rows], next=following))

    async def _visit(self, request: Request, store: VisitStore) -> Response:
        row = await run_in_threadpool(store.one, request.path_params["key"])
        return _problem(404, "There is no such visit.") if row is None else _json(visit_of(row))

    async def _hazards(self, request: Request, store: VisitStore) -> Response:
        wanted = wanted_of({"page": request.query_params.get("page", ""), "sort": "danger"})
        rows, total = await run_in_threadpool(store.find, wanted)
        waiting = [row for row in rows if row.waits != SETTLED]
        concerns = await run_in_threadpool(store.concerns, [row.key for row in waiting])
        items = [hazard_of(row, concern) for row in waiting for concern in concerns.get(row.key, ())]
        more = wanted.page * PAGE < total and len(waiting) == len(rows)
        return _json(ApiHazardPage(items=items, next=_following("hazards", {}, wanted.page) if more else ""))

    async def _calendar(self, _: Request, store: VisitStore) -> Response:
        rows = await run_in_threadpool(lambda: list(_newest(store)))
        return Response(due(rows, dt.datetime.now(dt.UTC)), media_type="text/calendar")


SETTLED = 2
"""`VisitRow.waits` of a visit that waits for nothing."""


class WithApi:
    """Another application with the API beside it, under its own path."""

    def __init__(self, inner: ASGIApp, api: ASGIApp) -> None:
        self._inner, self._api = inner, api

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on to the one it is for."""
        is_api = scope["type"] == "http" and scope["path"].startswith(f"{BASE}/")
        await (self._api if is_api else self._inner)(scope, receive, send)


def _newest(store: VisitStore) -> Iterator[VisitRow]:
    for page in range(1, MOST_PAGES + 1):
        rows, total = store.find(ListWanted(sort="day", page=page))
        yield from rows
        if page * PAGE >= total:
            return


def _following(name: str, given: dict[str, str], page: int) -> str:
    return f"{BASE}/{name}?{urlencode({**given, 'page': str(page + 1)})}"


def _json(shape: BaseModel) -> Response:
    return Response(shape.model_dump_json(), media_type="application/json")


def _problem(status: int, says: str) -> Response:
    return JSONResponse(ApiProblem(problem=says).model_dump(), status)
