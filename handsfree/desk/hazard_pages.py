"""The page of open hazards: each has an owner until it is closed with words; both are signed by the desk's key."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from handsfree.desk.guard import Door
from handsfree.desk.hazards import VisitHazard, hazards_of_all
from handsfree.desk.index import Index
from handsfree.desk.signing import SigningPages
from handsfree.office.hazards import owners, prepare_closing, prepare_taking

SHOWN = 200
MakePage = Callable[..., Response]
ReadForm = Callable[[Request], Awaitable[dict[str, list[str]]]]


class HazardPages:
    """Lists hazards, and signs who takes one on and how it was closed."""

    def __init__(self, index: Index, door: Door, signing: SigningPages, page: MakePage, form: ReadForm) -> None:
        self._index, self._door, self._signing, self._page, self._form = index, door, signing, page, form

    def routes(self) -> list[Route]:
        """Return the addresses."""
        return [
            Route("/hazards", self._list),
            Route("/hazards/take", self._take, methods=["POST"]),
            Route("/hazards/close", self._close, methods=["POST"]),
        ]

    async def _list(self, _: Request) -> Response:
        found = await run_in_threadpool(hazards_of_all, self._index)
        states = await run_in_threadpool(self._index.store.tally)
        open_ = [one for one in found if one.standing.open]
        closed = [one for one in found if not one.standing.open]
        return self._page(
            "hazards.html",
            hazards=open_[:SHOWN], more=max(0, len(open_) - SHOWN), closed=closed[:SHOWN], open_count=len(open_),
            unowned=sum(not one.standing.owner for one in open_), owners=owners(self._signing.enrolment()),
            form_token=self._door.form_token(), why_not=self._signing.why_not(),
            unchecked=states.get("unchecked", 0), unreadable=states.get("unreadable", 0),
        )  # fmt: skip

    async def _take(self, request: Request) -> Response:
        form = await self._form(request)
        owner = form.get("owner", [""])[0]
        await run_in_threadpool(self._taken, await self._asked(form), owner)
        return RedirectResponse("/hazards", 303)

    async def _close(self, request: Request) -> Response:
        form = await self._form(request)
        words = form.get("words", [""])[0]
        await run_in_threadpool(self._closed, await self._asked(form), words)
        return RedirectResponse("/hazards", 303)

    async def _asked(self, form: dict[str, list[str]]) -> VisitHazard:
        key, name = (form.get(each, [""])[0] for each in ("key", "hazard"))
        found = await run_in_threadpool(hazards_of_all, self._index)
        hazard = next((one for one in found if one.key == key and one.name == name and one.standing.open), None)
        if hazard is None:
            raise HTTPException(409, "This hazard is not open any more: look at the list again.")
        return hazard

    def _taken(self, hazard: VisitHazard, owner: str) -> None:
        self._signing.sign_hazard(
            hazard.key,
            lambda report, who, listed: prepare_taking(
                report, who, listed, hazard=hazard.name, owner=owner or who.name
            ),
        )

    def _closed(self, hazard: VisitHazard, words: str) -> None:
        self._signing.sign_hazard(
            hazard.key,
            lambda report, who, listed: prepare_closing(report, who, listed, hazard=hazard.name, words=words),
        )
