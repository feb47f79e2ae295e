"""The desk's pages: which address shows what. All comes from the folders; a sign-off is all that is written."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable, Collection, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qs, urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from handsfree.desk import chart, printed, wording
from handsfree.desk.across_pages import AcrossPages
from handsfree.desk.checker import Checker
from handsfree.desk.claims import Claims
from handsfree.desk.dossier import Dossier, open_dossier, seal_words
from handsfree.desk.examination import examine, stamp
from handsfree.desk.guard import HEADERS, AccessGuard, Door
from handsfree.desk.hazard_pages import HazardPages
from handsfree.desk.hearing_again import HearingAgain
from handsfree.desk.index import Index
from handsfree.desk.prepare_pages import PreparePages
from handsfree.desk.preparing import Preparing
from handsfree.desk.signing import SigningPages
from handsfree.desk.signoff import sign_offs
from handsfree.desk.view import VisitView, by_kind
from handsfree.ledger import VerificationReport
from handsfree.ledger.personal import names_of
from handsfree.office.endorsements import VERDICTS
from handsfree.office.endorsing import not_acceptable
from handsfree.office.enrolment import EnrolledKey
from handsfree.office.signatures import Signer
from handsfree.photo_file import FORM
from handsfree.problem import Problem
from handsfree.rehearing.findings import TOLD
from handsfree.serving import WithHeaders
from handsfree.store.kept import VisitRow
from handsfree.store.port import PAGE
from handsfree.store.wanted import ListWanted, wanted_of

KEPT = 4
"""Dossiers kept in memory, so that the chart's links and the sound do not verify again."""

LONGEST_FORM = 20_000
_DIGEST = re.compile(r"[0-9a-f]{64}")


def beside_pages(
    beside: Sequence[Checker | HearingAgain],
) -> Callable[[Starlette], AbstractAsyncContextManager[None]]:
    """Return what runs the checker, and what hears visits again, for as long as pages are served."""

    @asynccontextmanager
    async def running(_: Starlette) -> AsyncIterator[None]:
        for each in beside:
            each.start()
        yield
        for each in beside:
            await run_in_threadpool(each.stop)

    return running


class Desk:
    """The pages over one folder of visits."""

    def __init__(
        self,
        index: Index,
        door: Door,
        signer: Signer | None = None,
        *,
        person: EnrolledKey | None = None,
        outgoing: Path | None = None,
    ) -> None:
        """`person` is whoever signed in and signs by passkey; else `signer` signs, or any supervisor's passkey.

        Jobs are prepared in `outgoing`, and nowhere without it.
        """
        self.index, self._door, self._person = index, door, person
        self.signing = SigningPages(index, door, signer, lambda key: self._dossier(key, afresh=True), person)
        self._preparing = None if outgoing is None else Preparing(index, outgoing, self._offices)
        self._beside: Sequence[Checker | HearingAgain] = ()
        self._kept: OrderedDict[tuple[str, str], Dossier] = OrderedDict()
        self._pages = Environment(
            loader=PackageLoader("handsfree.desk", "pages"),
            autoescape=select_autoescape(default=True, default_for_string=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._pages.globals.update(words=wording, seal_words=seal_words, told_of_sound=TOLD)

    def application(self, checker: Checker | None = None, hearing: HearingAgain | None = None) -> ASGIApp:
        """Return the ASGI application; the checker, and what hears visits again, run as long as it does."""
        self._beside = [each for each in (checker, hearing) if each is not None]
        site = Starlette(
            routes=[
                Route("/", self._list),
                Route("/enter", lambda _: RedirectResponse("/", 303)),
                Route("/next", self._next),
                Route("/accept", self._accept, methods=["POST"]),
                Route("/accept/prepare", self._prepare_together, methods=["POST"]),
                Route("/visit/{key}", self._visit),
                Route("/visit/{key}/talk", self._talk),
                Route("/visit/{key}/sound/{sound}", self._sound),
                Route("/visit/{key}/photo/{commitment}", self._photo),
                Route("/visit/{key}/report.pdf", self._report),
                Route("/visit/{key}/sign-off", self._sign, methods=["POST"]),
                *AcrossPages(self.index, self.page).routes(),
                *self.signing.routes(),
                *self.entrance(),
                *HazardPages(self.index, self._door, self.signing, self.page, self._form).routes(),
                *self._prepare_routes(),
            ],
            exception_handlers={Problem: self.told, HTTPException: self._http},
            lifespan=beside_pages(self._beside),
        )
        return WithHeaders(AccessGuard(site, self._door), HEADERS)

    def entrance(self) -> list[BaseRoute]:
        """Return the addresses that nobody has to sign in for: making a passkey, and what pages look like."""
        assets = Path(__file__).parent / "assets"
        return [*self.signing.passkey_routes(), Mount("/assets", StaticFiles(directory=assets))]

    def _prepare_routes(self) -> list[Route]:
        return (
            []
            if self._preparing is None
            else PreparePages(self._preparing, self._door, self.page, self._form).routes()
        )

    def _offices(self) -> Collection[str] | None:
        who = self._person or self.signing.who()
        return who.offices if who else None

    def page(self, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        """Return a page by its template."""
        who = self.signing.who()
        values |= {"supervisor": who.name if who else "", "signed_in": self._person.name if self._person else ""}
        values["prepares"] = self._preparing is not None
        return HTMLResponse(self._pages.get_template(name).render(**values), status)

    def told(self, _: Request, problem: Exception) -> Response:
        """Return a page that tells a problem."""
        assert isinstance(problem, Problem)
        return self.page("problem.html", 422, title="This cannot be done", says=problem.sentence())

    def _http(self, _: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        says = "There is nothing at this address." if error.status_code == 404 else str(error.detail)
        return self.page("problem.html", error.status_code, title=f"{error.status_code}", says=says)

    async def _list(self, request: Request) -> Response:
        wanted = wanted_of(request.query_params)
        rows, total = await run_in_threadpool(self.index.store.find, wanted)
        concerns = await run_in_threadpool(self.index.concerns, [row.key for row in rows])
        looked_at = await run_in_threadpool(self._claims().others, [row.key for row in rows])
        clean = [row for row in rows if row.clean and not row.waits and not concerns[row.key]]

        def to(**changes: Any) -> str:
            return "/?" + urlencode({name: value for name, value in (vars(wanted) | changes).items() if value})

        return self.page(
            "visits.html",
            rows=rows, total=total, wanted=wanted, pages=max(1, -(-total // PAGE)), to=to,
            concerns={key: by_kind(each) for key, each in concerns.items()},
            looked_at=looked_at,
            clean=await run_in_threadpool(self._digests, clean), waiting=self.index.store.count_waiting(),
            filtered=wanted != ListWanted(page=wanted.page), form_token=self._door.form_token(),
            passkeys=self.signing.passkeys(),
            led=wanted.led(self.index.store.gate_title(wanted.gate) if wanted.gate else ""),
            tally=self.index.store.tally(), technicians=self.index.store.known("technician"), verdicts=VERDICTS,
            illness=" ".join(each.illness for each in self._beside if each.illness),
        )  # fmt: skip

    def _digests(self, rows: Sequence[VisitRow]) -> list[dict[str, str]]:
        """Return the visits among these that are still as they were when they were found clean."""
        found = []
        for row in rows:
            view = self.index.view(row.key)
            if view is not None and view.clean and view.report.head and self._as_kept(row.key):
                found.append({"key": row.key, "digest": view.report.head.digest})
        return found

    def _as_kept(self, key: str) -> bool:
        row = self.index.store.one(key)
        return row is not None and row.stamp == stamp(self._folder(key))

    async def _next(self, request: Request) -> Response:
        """Lead to the visit that waits after one, in the order of the inbox; after the last, to the inbox."""
        after = request.query_params.get("after", "")
        waiting = await run_in_threadpool(self.index.store.waiting, after)
        behind = waiting[waiting.index(after) + 1 :] if after in waiting else waiting
        looked_at = await run_in_threadpool(self._claims().others, behind)
        behind = sorted(behind, key=lambda key: bool(looked_at[key]))  # what a colleague looks at comes last
        for key in behind:
            if await run_in_threadpool(self._still_waits, key):
                return RedirectResponse(f"/visit/{key}", 303)
        return RedirectResponse("/", 303)

    def _still_waits(self, key: str) -> bool:
        """Say whether a visit waits for a verdict by its folder, and not only by what the store was told last.

        The store is told after a visit is signed: when it or the desk ends in between, the visit would be led to
        and signed a second time.
        """
        row = self.index.store.one(key)
        if row is not None and row.seal != "unreadable" and not self._as_kept(key):
            self.index.keep(key, examine(self._folder(key), self.index.enrolment))
            row = self.index.store.one(key)
        return row is not None and row.waits == 0

    def _claims(self) -> Claims:
        who = self._person or self.signing.who()
        return Claims(self.index.store, who.name if who else "")

    async def _visit(self, request: Request) -> Response:
        key = request.path_params["key"]
        view = await run_in_threadpool(self._view, key, afresh="check" in request.query_params)
        waiting = await run_in_threadpool(self.index.store.waiting)
        claims = self._claims()
        looked_at = (await run_in_threadpool(claims.others, [key]))[key]
        await run_in_threadpool(claims.take, key)
        return self.page(
            "visit.html",
            key=key, view=view, report=view.report, dossier=await run_in_threadpool(self._signed, view),
            looked_at=looked_at,
            place=waiting.index(key) + 1 if key in waiting else 0, waiting=len(waiting), verdicts=VERDICTS,
            form_token=self._door.form_token(), why_not=self.signing.why_not(), passkeys=self.signing.passkeys(),
            not_acceptable=not_acceptable(view.report), over_network=self._door.token is not None,
        )  # fmt: skip

    def _view(self, key: str, *, afresh: bool = False) -> VisitView:
        """Return what was kept of a visit while nothing in its folder has changed since; else examine it now."""
        folder = self._folder(key)
        row = self.index.store.one(key)
        if row is not None and row.seal == "unreadable" and not afresh:
            raise Problem(str(row.sentence), remedy="nothing more of it is opened here")
        if not afresh and self._as_kept(key) and (view := self.index.view(key)) is not None:
            return view
        self.index.keep(key, examine(folder, self.index.enrolment))
        view = self.index.view(key)
        if view is None:
            now = self.index.store.one(key)
            raise Problem(str(now.sentence) if now else "this visit is gone")
        return view

    def _signed(self, view: VisitView) -> SimpleNamespace:
        """Return the sign-offs as they are now: they are no part of what is kept."""
        found = sign_offs(view.report, self.signing.enrolment())
        return SimpleNamespace(
            sign_offs=[replace(each, at=wording.local(each.at, view.minutes_east)) for each in found]
        )

    async def _talk(self, request: Request) -> Response:
        key = request.path_params["key"]
        dossier = await run_in_threadpool(self._dossier, key)
        begin, end = (_whole(request.query_params.get(name, "")) for name in ("from", "to"))
        return self.page(
            "talk.html",
            key=key, dossier=dossier, recorded=dossier.evidence.recorded, whole=end is None,
            chart=chart.draw(dossier.evidence, begin or 0, end), phases=chart.phases(dossier.evidence),
        )  # fmt: skip

    async def _sound(self, request: Request) -> Response:
        folder, name = self._folder(request.path_params["key"]), request.path_params["sound"].removesuffix(".flac")
        path = folder / "sound" / f"{name}.flac"
        if not _DIGEST.fullmatch(name) or not path.is_file() or path.is_symlink():
            raise HTTPException(404)
        return FileResponse(path, media_type="audio/flac", headers={"cache-control": "private, max-age=3600"})

    async def _photo(self, request: Request) -> Response:
        """Hand out a photo that the record names, where it still lies beside it as it was committed to."""
        key, commitment = request.path_params["key"], request.path_params["commitment"]
        view = await run_in_threadpool(self._view, key)
        named = next((photo for photo in view.photos if photo.commitment == commitment), None)
        content = None if named is None else await run_in_threadpool(named.content, names_of(self._folder(key)))
        if not content:
            raise HTTPException(404)
        return Response(content, media_type=FORM, headers={"cache-control": "no-store"})

    async def _report(self, request: Request) -> Response:
        dossier = await run_in_threadpool(self._dossier, request.path_params["key"])
        return Response(await run_in_threadpool(printed.pdf, dossier), media_type="application/pdf")

    async def _form(self, request: Request, most: int = LONGEST_FORM) -> dict[str, list[str]]:
        """Return the members of a form that this desk's own page sent, of so many bytes at most."""
        body = b""
        async for piece in request.stream():
            body += piece
            if len(body) > most:
                raise HTTPException(413, "This form is too long.")
        form = parse_qs(body.decode("utf-8", "replace"), keep_blank_values=True)
        if not self._door.form_is_ours(form.get("form_token", [""])[0]):
            raise HTTPException(403, "This form is not of this desk, or is too old: open the page again.")
        return form

    async def _sign(self, request: Request) -> Response:
        key = request.path_params["key"]
        form = {name: values[0] for name, values in (await self._form(request)).items()}
        dossier = await run_in_threadpool(self._dossier, key, afresh=True)
        if form.get("digest") != (dossier.report.head.digest if dossier.report.head else ""):
            raise HTTPException(409, "The record is not the one that was on the page: look at it again.")
        await run_in_threadpool(
            self.signing.sign_with_own_key, [dossier.report], form.get("verdict", ""), form.get("remark", "")
        )
        return RedirectResponse(
            f"/next?after={key}" if form.get("then") == "next" else f"/visit/{key}#sign-off", 303
        )

    async def _accept(self, request: Request) -> Response:
        """Accept clean visits together with the desk's own key; each is signed."""
        reports = await run_in_threadpool(self._still_clean, (await self._form(request)).get("visit", []))
        if reports:
            await run_in_threadpool(self.signing.sign_with_own_key, list(reports.values()), "accepted", "")
        return RedirectResponse("/", 303)

    async def _prepare_together(self, request: Request) -> Response:
        """Give the challenge of accepting clean visits together, for the passkey of whoever accepts them."""
        form = await self.signing.form(request)
        given = form.get("visits")
        if not (isinstance(given, list) and given and all(isinstance(each, str) for each in given)):
            raise HTTPException(400, "This is no form of the desk.")
        reports = await run_in_threadpool(self._still_clean, given)
        return JSONResponse(await run_in_threadpool(self.signing.prepare_together, reports, form.get("key")))

    def _still_clean(self, given: Sequence[str]) -> dict[str, VerificationReport]:
        """Return key -> report of visits given as KEY:DIGEST, verified anew; each must be as the page had it."""
        reports = {}
        for key, _, digest in (each.partition(":") for each in given[:PAGE]):
            view = self._view(key, afresh=True)
            head = view.report.head
            if not view.clean or head is None or head.digest != digest:
                raise HTTPException(409, "A visit is not clean any more: look at the list again.")
            reports[key] = view.report
        return reports

    def _folder(self, key: str) -> Path:
        row = self.index.store.one(key)
        if row is None:
            raise HTTPException(404)
        folder: Path = (self.index.root / row.path).resolve()
        if not folder.is_relative_to(self.index.root):
            raise HTTPException(404)
        return folder

    def _dossier(self, key: str, *, afresh: bool = False) -> Dossier:
        """Return a visit's dossier: verified now, unless nothing in its folder has changed since it was."""
        view = None if afresh else self._view(key)
        folder = self._folder(key)
        state = (key, stamp(folder))
        if afresh or state not in self._kept:
            self._kept[state] = open_dossier(
                folder, alike=self.index.alike(key), report=view.report if view else None,
                enrolment=self.index.enrolment,
            )  # fmt: skip
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return self._kept[state]


def _whole(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None
