"""The pages across visits: the questions with their filters, and the history of one appliance."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from handsfree.desk import history
from handsfree.desk.asked import AskedOf
from handsfree.desk.index import Index
from handsfree.desk.questions import QUESTIONS, Inquiry, QueryResult, answer, kept_answer
from handsfree.problem import Problem

MOST = 25
"""Rows of each answer on the page; the files have all."""
_KINDS = {"csv": "text/csv; charset=utf-8", "parquet": "application/vnd.apache.parquet"}
"""Media types as registered with IANA."""


class AcrossPages:
    """Answers questions; `page` renders a template."""

    def __init__(self, index: Index, page: Callable[..., HTMLResponse]) -> None:
        self._index, self._page = index, page

    def routes(self) -> list[Route]:
        """Return the addresses."""
        return [
            Route("/across", self._across),
            Route("/across/{question}.csv", self._file),
            Route("/across/{question}.parquet", self._file),
            Route("/appliance/{serial}", self._appliance),
        ]

    async def _across(self, request: Request) -> Response:
        of = _asked_of(request)
        chosen = {name: value for name, value in vars(of).items() if value}

        def asked() -> list[tuple[Inquiry, QueryResult]]:
            return [
                (question, kept_answer(self._index.store, question, MOST, of)) for question in QUESTIONS.values()
            ]

        def leads(question: Inquiry, result: QueryResult, row: tuple[Any, ...]) -> str:
            found = dict(zip(result.columns, row, strict=True))
            told = {name: found[column] for name, column in question.leads.items() if found.get(column)}
            return "/?" + urlencode({**chosen, **told, "sort": "day"}) if told else ""

        return self._page(
            "across.html", answers=await run_in_threadpool(asked), of=of, leads=leads, chosen=urlencode(chosen),
            offices=self._index.store.known("office"), procedures=self._index.store.known("procedure"),
            versions=self._index.store.known("version"), broken=self._index.store.count_broken(),
        )  # fmt: skip

    async def _file(self, request: Request) -> Response:
        """Hand out an answer with all its rows, in the form that the address ends with."""
        question, form = QUESTIONS.get(request.path_params["question"]), request.url.path.rpartition(".")[2]
        if question is None:
            raise HTTPException(404)
        of = _asked_of(request)

        def asked() -> bytes:
            found = answer(self._index.store, question, of=of)
            return found.csv().encode() if form == "csv" else found.parquet()

        named = {"content-disposition": f'attachment; filename="{question.name}.{form}"'}
        return Response(await run_in_threadpool(asked), media_type=_KINDS[form], headers=named)

    async def _appliance(self, request: Request) -> Response:
        serial = request.path_params["serial"]
        visits, readings = await run_in_threadpool(self._index.store.of_appliance, serial)
        broken = await run_in_threadpool(self._index.store.count_broken, serial)
        if broken and not visits:
            raise Problem(f"all records of this appliance are broken: {broken}", remedy="see them in the inbox")
        if not visits:
            raise HTTPException(404)
        plots = history.draw(visits, readings)
        return self._page("appliance.html", serial=serial, visits=visits, plots=plots, broken=broken)


def _asked_of(request: Request) -> AskedOf:
    def said(name: str) -> str:
        return request.query_params.get(name, "")[:100]

    return AskedOf(said("since"), said("until"), said("office"), said("procedure"), said("version"))
