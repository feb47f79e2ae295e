"""Job sheets: checked, or made by asking for every fact, serials and dates by voice if wanted."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import nullcontext
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import typer

from handsfree.commands.interview import Interview
from handsfree.desk.earlier_records import EarlierRecords
from handsfree.desk.known_before import KnownBefore
from handsfree.documents import read_document
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheet_making import (
    NO_VISIT,
    NewApplianceSheet,
    NewJobSheet,
    VisitNeeds,
    needs_of,
    written,
)
from handsfree.procedure.sheet_questions import SheetQuestion
from handsfree.procedure.sheets import load_sheets, model_of, read_appliance_sheet, trade_of
from handsfree.procedure.trades import TradeData, trade_data_asked
from handsfree.procedure.written_answers import choice_written
from handsfree.visit.sheet_standing import sheet_standing


def check_sheet(file: Path, visit: Path | None = None) -> dict[str, Any]:
    """Return what a job sheet holds, which limits no sheet gives, and whether an instrument is out of date.

    An author's own trade is that of the visit, where one is given.
    """
    sheets, _ = load_sheets(file, None if visit is None else load_procedure(visit).trade)
    job, appliance = sheets.job, sheets.appliance
    until = job.calibrated_until
    return {
        "facts": {
            "job": job.job,
            "site": job.site,
            "trade": job.trade,
            "technician": f"{job.technician.name}, licence {job.technician.licence}",
            "appliance": f"{appliance.appliance}, serial {job.serial}",
            "maker's data": f"{appliance.manual.file}, revision {appliance.manual.revision}",
            **sheets.own_facts(),
            "instruments": "; ".join(f"{one.name}, serial {one.serial}" for one in job.measuring) or "none",
            "calibrated until": "no instrument named" if until is None else until.isoformat(),
        },
        "no_limit_loaded": [name for name, limit in sheets.limits().items() if limit is None],
        "out_of_date": until is not None and until < date.today(),  # noqa: DTZ011 - the technician's day
    }


def make_job_sheet(
    file: Path,
    appliance: Path | None,
    visit: Path | None = None,
    *,
    by_voice: bool = False,
    microphone: str | None = None,
    model: Path | None = None,
    last_visits: Path | None = None,
) -> None:
    """Ask for every fact of a job, and for those that the visit needs; an existing file is never overwritten.

    Each answer is kept as soon as it is given; the sheet is written when all are right. What the earlier visits in
    a folder know of the appliance or the site is offered.
    """
    _is_new(file)
    spell = _Speller(microphone, model).ask if by_voice and model is not None else None
    interview = Interview(file, spell)
    with nullcontext(None) if last_visits is None else EarlierRecords(last_visits) as records:
        of = None if visit is None else load_procedure(visit).trade
        document = read_document(appliance or interview.lead(lambda: _appliance_beside(file, interview, of)))
        if Path(document.file).resolve().parent != file.resolve().parent:
            what = "the job sheet must stand beside the maker's data"
            raise Problem(what, where=str(file), remedy="use one folder")
        sheet = NewJobSheet(document, _needs(visit, trade_of(document, of)), of)
        if records is not None:
            known = KnownBefore(records, model_of(sheet.trade, "job"), sheet.trade.name, known_enrolment())
            interview.offer = partial(_offer, known, records.left_out)
        content = interview.lead(partial(_walk, sheet, interview))
    _write(file, content)
    interview.done()


def _walk(sheet: NewJobSheet | NewApplianceSheet, interview: Interview) -> dict[str, Any]:
    """Return the content of a sheet, asked until all of it goes together."""
    while True:
        content = sheet.content(interview)
        fault = sheet.fault(content)
        if fault is None:
            return content
        typer.echo(fault.sentence)
        interview.forget(fault.path)


def _needs(visit: Path | None, of: TradeData) -> VisitNeeds:
    return NO_VISIT if visit is None else needs_of(load_procedure(visit), of)


def _offer(known: KnownBefore, left_out: list[str], path: str, given: Mapping[str, str]) -> tuple[str, str] | None:
    """Return what an earlier visit answers to a question, and of which day it is; tell what was left out."""
    found = known.offer(path, given)
    while left_out:
        typer.echo(left_out.pop(0))
    return None if found is None else (found.text, f"On the job sheet of {found.day}")


def _appliance_beside(file: Path, interview: Interview, of_visit: TradeData | None) -> Path:
    """Return the maker's data to use, of the files beside the new sheet; `of_visit` as for `trade_of`."""
    found: dict[str, Path] = {}
    for path in sorted(file.resolve().parent.glob("*.yaml")):
        try:
            read_appliance_sheet(read_document(path), of_visit)
        except Problem:
            continue
        found[path.name] = path
    if not found:
        what = "there is no maker's data beside it, and a job sheet names one"
        raise Problem(
            what, where=str(file), remedy="make it first: handsfree appliance NAME.yaml, in the same folder"
        )
    if len(found) == 1:
        return next(iter(found.values()))
    question = SheetQuestion("maker's data", f"Maker's data (one of: {', '.join(found)})", choices=tuple(found))
    return found[interview.ask(question, lambda text: choice_written(text, tuple(found)))]


def make_appliance_sheet(file: Path, trade: str, visit: Path | None = None) -> None:
    """Ask for the maker's data in the order of a manual, and say what a visit lacks without a figure."""
    _is_new(file)
    interview, of = Interview(file), trade_data_asked(trade, None, file.parent)
    content = interview.lead(partial(_walk, NewApplianceSheet(of, _needs(visit, of)), interview))
    _write(file, content)
    interview.done()


def check_appliance(file: Path) -> dict[str, Any]:
    """Return what a sheet of maker's data holds: the model, the manual, and the trade."""
    document = read_document(file)
    data = read_appliance_sheet(document)
    check, _ = sheet_standing(file, document.text.encode(), data.version)
    return {
        "appliance": data.appliance,
        "trade": data.trade,
        "manual": f"{data.manual.file}, revision {data.manual.revision}",
        "version": data.version or "none",
        "second check": "; ".join((check.sentence, *check.faults)),
    }


def _is_new(file: Path) -> None:
    if file.exists():
        raise Problem("this file exists already", where=str(file), remedy="name a new one")


def _write(file: Path, content: dict[str, Any]) -> None:
    with file.open("x", encoding="utf-8") as out:
        out.write(written(content))


class _Speller:
    """Takes a serial or a date letter by letter, and reads it back in groups of three."""

    def __init__(self, microphone: str | None, model: Path) -> None:
        from handsfree.hearing.listener import Listener  # noqa: PLC0415 - loads the recogniser
        from handsfree.hearing.microphone import Microphone  # noqa: PLC0415
        from handsfree.hearing.recogniser import Recogniser  # noqa: PLC0415

        self._source = Microphone(microphone)
        self._listener = Listener(Recogniser(model))
        self._spelling = english().spelling
        self._listener.listen_for(self._spelling.pattern().automaton())

    def ask(self, what: str) -> str:
        """Return what was spelled, once the enter key has confirmed the read-back."""
        from handsfree.hearing.listener import Utterance  # noqa: PLC0415

        typer.echo(f"{what}: spell it.")
        for event in self._listener.utterances(self._source):
            if not isinstance(event, Utterance) or not event.alternatives:
                continue
            text = self._spelling.read(event.alternatives[0].text)
            if text and typer.confirm(f"{self._spelling.read_back(text)} - right?", default=True):
                return text
            typer.echo("Again.")
        raise Problem("the microphone gave out", remedy="type it: leave --voice out")
