"""The page of open hazards: each has an owner until it is closed with words; both are signed."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from handsfree.desk.guard import Door
from handsfree.desk.hazards import VisitHazard, by_visit, hazards_of_all
from handsfree.desk.index import Index
from handsfree.desk.signing import SigningPages
from handsfree.ledger import VerificationReport
from handsfree.office.endorsing import Prepared
from handsfree.office.enrolment import EnrolledKey, Enrolment
from handsfree.office.hazards import owners, prepare_closing, prepare_taking
from handsfree.store.kept import VisitRow
from handsfree.store.port import PAGE
from handsfree.store.wanted import ListWanted

SHOWN = 200
MOST_UNKNOWN = 1000
Statement = Callable[[str, VerificationReport, EnrolledKey, Enrolment | None], Prepared]
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
            Route("/hazards/prepare", self._prepare, methods=["POST"]),
        ]

    async def _list(self, _: Request) -> Response:
        found = await run_in_threadpool(hazards_of_all, self._index)
        unknown = await run_in_threadpool(self._unknown, {one.key for one in found})
        open_ = [one for one in found if one.standing.open]
        closed = [one for one in found if not one.standing.open]
        return self._page(
            "hazards.html",
            visits=by_visit(open_[:SHOWN]), more=max(0, len(open_) - SHOWN), closed=closed[:SHOWN],
            open_count=len(open_), unowned=sum(not one.standing.owner for one in open_),
            owners=owners(self._signing.enrolment()),
            form_token=self._door.form_token(), why_not=self._signing.why_not(),
            passkeys=self._signing.passkeys(), unknown=unknown[:SHOWN], unknown_count=len(unknown),
        )  # fmt: skip

    def _unknown(self, told: set[str]) -> list[VisitRow]:
        """Return the visits of which nobody knows whether they left a hazard, those that cannot be read first."""
        rows: list[VisitRow] = []
        for seal in ("unreadable", "unchecked"):
            total = page = 1
            while (page - 1) * PAGE < total and len(rows) < MOST_UNKNOWN:
                more, total = self._index.store.find(ListWanted(seal=seal, page=page))
                rows += more
                page += 1
        return [row for row in rows if row.key not in told]

    async def _take(self, request: Request) -> Response:
        form = await self._form(request)
        says = _taking(form.get("owner", [""])[0])
        await run_in_threadpool(self._signed, _named(form), says)
        return RedirectResponse("/hazards", 303)

    async def _close(self, request: Request) -> Response:
        form = await self._form(request)
        says = _closing(form.get("words", [""])[0])
        await run_in_threadpool(self._signed, _named(form), says)
        return RedirectResponse("/hazards", 303)

    def _signed(self, named: tuple[str, str], says: Statement) -> None:
        hazard = self._open(*named)
        self._signing.sign_hazard(hazard.key, lambda *given: says(hazard.name, *given))

    async def _prepare(self, request: Request) -> Response:
        """Give the challenge of a statement on a hazard, for the passkey of whoever takes or closes it."""
        form = await self._signing.form(request)
        says = _closing(str(form["words"])) if "words" in form else _taking(str(form.get("owner", "")))
        hazard = await run_in_threadpool(self._open, str(form.get("key")), str(form.get("hazard")))
        answer = await run_in_threadpool(
            self._signing.prepare_hazard, hazard.key, form.get("passkey"), lambda *given: says(hazard.name, *given)
        )
        return JSONResponse(answer)

    def _open(self, key: str, name: str) -> VisitHazard:
        found = hazards_of_all(self._index)
        hazard = next((one for one in found if one.key == key and one.name == name and one.standing.open), None)
        if hazard is None:
            raise HTTPException(409, "This hazard is not open any more: look at the list again.")
        return hazard


def _named(form: dict[str, list[str]]) -> tuple[str, str]:
    return form.get("key", [""])[0], form.get("hazard", [""])[0]


def _taking(owner: str) -> Statement:
    def says(hazard: str, report: VerificationReport, who: EnrolledKey, listed: Enrolment | None) -> Prepared:
        return prepare_taking(report, who, listed, hazard=hazard, owner=owner or who.name)

    return says


def _closing(words: str) -> Statement:
    def says(hazard: str, report: VerificationReport, who: EnrolledKey, listed: Enrolment | None) -> Prepared:
        return prepare_closing(report, who, listed, hazard=hazard, words=words)

    return says
