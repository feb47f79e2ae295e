"""The pages where tomorrow's jobs are prepared: what lies ready, and each sheet as a form."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from handsfree.desk.drafts import SheetDraft
from handsfree.desk.guard import Door
from handsfree.desk.preparing import Preparing, visits
from handsfree.desk.sheet_form import FilledForm
from handsfree.problem import Problem

LONGEST_SHEET = 400_000
"""Bytes: several hundred answers, each with the path that names its question."""
ANSWER = "answer:"


class RenderPage(Protocol):
    """Renders a template."""

    def __call__(self, name: str, status: int = 200, **values: Any) -> Response:
        """Return the page."""
        ...


class ReadBoundedForm(Protocol):
    """Reads what a form of this desk sent."""

    async def __call__(self, request: Request, most: int = ...) -> dict[str, list[str]]:
        """Return its members; HTTPException for a foreign one, or more than `most` bytes."""
        ...


class PreparePages:
    """Shows the forms, keeps each answer, and lays ready what is whole."""

    def __init__(self, preparing: Preparing, door: Door, page: RenderPage, form: ReadBoundedForm) -> None:
        self._preparing, self._door, self._page, self._form = preparing, door, page, form

    def routes(self) -> list[Route]:
        """Return the addresses."""
        return [
            Route("/prepare", self._all),
            Route("/prepare/begin", self._begin, methods=["POST"]),
            Route("/prepare/send", self._send, methods=["POST"]),
            Route("/prepare/{draft}", self._sheet),
            Route("/prepare/{draft}", self._answer, methods=["POST"]),
        ]

    async def _all(self, _: Request) -> Response:
        return self._page("prepare.html", **await run_in_threadpool(self._listed))

    def _listed(self) -> dict[str, Any]:
        jobs: list[tuple[str, SheetDraft]] = []
        sheets: list[tuple[str, SheetDraft]] = []
        faults: list[str] = []
        for name in reversed(self._preparing.drafts.names()):
            try:
                draft = self._preparing.own(name)
            except Problem as problem:
                faults.append(problem.sentence())
                continue
            if draft is not None:
                (jobs if draft.sheet == "job" else sheets).append((name, draft))
        makers, devices = list(self._preparing.makers()), self._preparing.devices()
        return {
            "jobs": jobs, "sheets": sheets, "faults": faults, "makers": makers, "visits": visits(),
            "trades": sorted({one.trade for one in visits()}), "devices": devices,
            "ready": {one: self._preparing.laid_ready(one) for one in devices},
            "form_token": self._door.form_token(),
        }  # fmt: skip

    async def _begin(self, request: Request) -> Response:
        form = await self._form(request)

        def said(name: str) -> str:
            return form.get(name, [""])[0]

        visit = said("visit")
        if said("sheet") == "appliance":
            name = await run_in_threadpool(self._preparing.begin_appliance, said("trade"), visit)
        else:
            job = self._preparing.begin_job
            name = await run_in_threadpool(job, said("device"), visit, said("appliance"))
        return RedirectResponse(f"/prepare/{name}", 303)

    async def _send(self, request: Request) -> Response:
        form = await self._form(request)
        await run_in_threadpool(self._preparing.send, form.get("file", [""])[0])
        return RedirectResponse("/prepare", 303)

    async def _sheet(self, request: Request) -> Response:
        name = request.path_params["draft"]
        draft, form = await run_in_threadpool(self._filled, name)
        return self._shown(name, draft, form, is_tried=False)

    def _filled(self, name: str) -> tuple[SheetDraft, FilledForm]:
        draft = self._preparing.own(name)
        if draft is None:
            raise HTTPException(404)
        return draft, self._preparing.form(draft)

    def _shown(self, name: str, draft: SheetDraft, form: FilledForm, *, is_tried: bool) -> Response:
        visit = next((one.title for one in visits() if one.name == draft.visit), "no visit named")
        return self._page(
            "prepare_sheet.html", 422 if is_tried else 200,
            draft_name=name, draft=draft, form=form, visit=visit, is_tried=is_tried, prefix=ANSWER,
            form_token=self._door.form_token(),
        )  # fmt: skip

    async def _answer(self, request: Request) -> Response:
        """Keep what was answered; then show the form again, or lay the sheet ready when that was asked for."""
        name, given = request.path_params["draft"], await self._form(request, LONGEST_SHEET)
        if await run_in_threadpool(self._preparing.own, name) is None:
            raise HTTPException(404)
        then = given.get("then", [""])[0]
        if then == "remove":
            await run_in_threadpool(self._preparing.drafts.remove, name)
            return RedirectResponse("/prepare", 303)
        await run_in_threadpool(self._preparing.drafts.answer, name, _answers(given))
        draft, form = await run_in_threadpool(self._filled, name)
        if then != "ready":
            return RedirectResponse(f"/prepare/{name}", 303)
        if form.open or form.wrong:
            return self._shown(name, draft, form, is_tried=True)
        await run_in_threadpool(self._preparing.finish, name, draft, form)
        return RedirectResponse("/prepare", 303)


def _answers(given: Mapping[str, list[str]]) -> dict[str, str]:
    return {name.removeprefix(ANSWER): texts[0] for name, texts in given.items() if name.startswith(ANSWER)}
