"""The desk's pages: which address shows what. All comes from the folders; a sign-off is all that is written."""

from __future__ import annotations

import os
import re
from collections import OrderedDict
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from handsfree.desk import chart, printed, wording
from handsfree.desk.checker import Checker
from handsfree.desk.dossier import Dossier, open_dossier, seal_words
from handsfree.desk.examination import stamp
from handsfree.desk.guard import HEADERS, AccessGuard, Door
from handsfree.desk.index import PAGE, Index, ListWanted
from handsfree.desk.questions import QUESTIONS, answer
from handsfree.desk.signing import SigningPages
from handsfree.office.endorsements import VERDICTS
from handsfree.office.signatures import Signer
from handsfree.problem import Problem
from handsfree.serving import WithHeaders

KEPT = 4
"""Dossiers kept in memory, so that the chart's links and the sound do not verify again."""

LONGEST_FORM = 20_000
_DIGEST = re.compile(r"[0-9a-f]{64}")


class Desk:
    """The pages over one folder of visits."""

    def __init__(self, index: Index, door: Door, signer: Signer | None = None) -> None:
        self.index, self._door = index, door
        self._signing = SigningPages(index, door, signer, lambda key: self._dossier(key, afresh=True))
        self._checker: Checker | None = None
        self._kept: OrderedDict[tuple[str, str], Dossier] = OrderedDict()
        self._pages = Environment(
            loader=PackageLoader("handsfree.desk", "pages"),
            autoescape=select_autoescape(default=True, default_for_string=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._pages.globals.update(words=wording, seal_words=seal_words)

    def application(self, checker: Checker | None = None) -> ASGIApp:
        """Return the ASGI application; the checker runs as long as it does."""
        self._checker = checker

        @asynccontextmanager
        async def running(_: Starlette) -> AsyncIterator[None]:
            if checker:
                checker.start()
            yield
            if checker:
                await run_in_threadpool(checker.stop)

        assets = Path(__file__).parent / "assets"
        site = Starlette(
            routes=[
                Route("/", self._list),
                Route("/enter", lambda _: RedirectResponse("/", 303)),
                Route("/visit/{key}", self._visit),
                Route("/visit/{key}/sound/{sound}", self._sound),
                Route("/visit/{key}/report.pdf", self._report),
                Route("/visit/{key}/sign-off", self._sign, methods=["POST"]),
                Route("/across", self._across),
                Route("/across/{question}.csv", self._csv),
                *self._signing.routes(),
                Mount("/assets", StaticFiles(directory=assets)),
            ],
            exception_handlers={Problem: self._problem, HTTPException: self._http},
            lifespan=running,
        )
        return WithHeaders(AccessGuard(site, self._door), HEADERS)

    def _page(self, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        who = self._signing.who()
        values["supervisor"] = who.name if who else ""
        return HTMLResponse(self._pages.get_template(name).render(**values), status)

    def _problem(self, _: Request, problem: Exception) -> Response:
        assert isinstance(problem, Problem)
        return self._page("problem.html", 422, title="This cannot be done", says=problem.sentence())

    def _http(self, _: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        says = "There is nothing at this address." if error.status_code == 404 else str(error.detail)
        return self._page("problem.html", error.status_code, title=f"{error.status_code}", says=says)

    async def _list(self, request: Request) -> Response:
        given = dict(request.query_params)
        texts = {
            name: given.get(name, "")[:100]
            for name in ("words", "technician", "since", "until", "outcome", "seal")
        }
        page = int(given["page"]) if given.get("page", "").isdecimal() and len(given["page"]) < 7 else 1
        wanted = ListWanted(**texts, sort=given.get("sort", "day"), page=page)
        rows, total = await run_in_threadpool(self.index.find, wanted)
        pages = max(1, -(-total // PAGE))

        def to(**changes: Any) -> str:
            kept = {**texts, "sort": wanted.sort, **changes}
            return "/?" + urlencode({name: value for name, value in kept.items() if value})

        return self._page(
            "visits.html",
            rows=rows, total=total, wanted=wanted, pages=pages, to=to,
            tally=self.index.tally(), technicians=self.index.technicians(),
            illness=self._checker.illness if self._checker else "",
        )  # fmt: skip

    async def _visit(self, request: Request) -> Response:
        key = request.path_params["key"]
        dossier = await run_in_threadpool(self._dossier, key, afresh="check" in request.query_params)
        begin, end = (_whole(request.query_params.get(name, "")) for name in ("from", "to"))
        drawn = chart.draw(dossier.evidence, begin or 0, end)
        return self._page(
            "visit.html",
            key=key, dossier=dossier, evidence=dossier.evidence, recorded=dossier.evidence.recorded,
            report=dossier.report, chart=drawn, phases=chart.phases(dossier.evidence), verdicts=VERDICTS,
            form_token=self._door.form_token(), whole=end is None,
            why_not=self._signing.why_not(), passkeys=self._signing.passkeys(),
        )  # fmt: skip

    async def _sound(self, request: Request) -> Response:
        folder, name = self._folder(request.path_params["key"]), request.path_params["sound"].removesuffix(".flac")
        path = folder / "sound" / f"{name}.flac"
        if not _DIGEST.fullmatch(name) or not path.is_file() or path.is_symlink():
            raise HTTPException(404)
        return FileResponse(path, media_type="audio/flac", headers={"cache-control": "private, max-age=3600"})

    async def _report(self, request: Request) -> Response:
        dossier = await run_in_threadpool(self._dossier, request.path_params["key"])
        return Response(await run_in_threadpool(printed.pdf, dossier), media_type="application/pdf")

    async def _sign(self, request: Request) -> Response:
        key = request.path_params["key"]
        body = b""
        async for piece in request.stream():
            body += piece
            if len(body) > LONGEST_FORM:
                raise HTTPException(413, "This form is too long.")
        form = {name: values[0] for name, values in parse_qs(body.decode("utf-8", "replace")).items()}
        if not self._door.form_is_ours(form.get("form_token", "")):
            raise HTTPException(403, "This form is not of this desk, or is too old: open the page again.")
        dossier = await run_in_threadpool(self._dossier, key, afresh=True)
        if form.get("digest") != (dossier.report.head.digest if dossier.report.head else ""):
            raise HTTPException(409, "The record is not the one that was on the page: look at it again.")
        await run_in_threadpool(
            self._signing.sign_with_own_key, dossier, form.get("verdict", ""), form.get("remark", "")
        )
        return RedirectResponse(f"/visit/{key}#sign-off", 303)

    async def _across(self, _: Request) -> Response:
        def asked() -> list[tuple[Any, Any]]:
            with self.index.open() as base:
                return [(question, answer(base, question, 25)) for question in QUESTIONS.values()]

        return self._page("across.html", answers=await run_in_threadpool(asked))

    async def _csv(self, request: Request) -> Response:
        question = QUESTIONS.get(request.path_params["question"])
        if question is None:
            raise HTTPException(404)
        with self.index.open() as base:
            text = answer(base, question).csv()
        named = {"content-disposition": f'attachment; filename="{question.name}.csv"'}
        return PlainTextResponse(text, media_type="text/csv", headers=named)

    def _folder(self, key: str) -> Path:
        row = self.index.one(key)
        if row is None:
            raise HTTPException(404)
        folder: Path = (self.index.root / os.fsdecode(row["folder"])).resolve()
        if not folder.is_relative_to(self.index.root):
            raise HTTPException(404)
        return folder

    def _dossier(self, key: str, *, afresh: bool = False) -> Dossier:
        """Return a visit's dossier: verified now, unless nothing in its folder has changed since it was."""
        folder = self._folder(key)
        row = self.index.one(key)
        if row is not None and row["seal"] == "unreadable" and not afresh:
            raise Problem(str(row["sentence"]), remedy="nothing more of it is opened here")
        state = (key, stamp(folder))
        if afresh or state not in self._kept:
            self._kept[state] = open_dossier(folder, alike=self.index.alike(key), enrolment=self.index.enrolment)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return self._kept[state]


def _whole(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None
