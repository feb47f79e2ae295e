"""The two sheets of a visit, read from their files: which facts they hold is the trade's."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel

from handsfree.documents import Document, read_document, validate
from handsfree.problem import Problem
from handsfree.procedure.trades import TradeData, trade_data_asked
from handsfree.trades import DEFAULT_TRADE
from handsfree.trades.sheets import ApplianceSheet, JobSheet, Sheets

REMEDY = "`handsfree template --sheet job`, or `--sheet appliance`, shows what a sheet holds"


def trade_of(document: Document, of_visit: TradeData | None = None) -> TradeData:
    """Return the trade that a sheet names, the first one when it names none; Problem at its line.

    Where it names that of the visit that it is for, that one is meant: an author's own lies near the procedure.
    """
    named = document.content.get("trade", DEFAULT_TRADE) if isinstance(document.content, dict) else DEFAULT_TRADE
    if of_visit is not None and named == of_visit.name:
        return of_visit
    return trade_data_asked(str(named), document.place(("trade",)), Path(document.file).parent)


def model_of(of: TradeData, sheet: str) -> type[BaseModel]:
    """Return the model of one of a trade's sheets, `job` or `appliance`."""
    model = of.sheets.model_fields[sheet].annotation
    assert isinstance(model, type)
    assert issubclass(model, BaseModel)
    return model


def read_job_sheet(document: Document, of_visit: TradeData | None = None) -> JobSheet:
    """Return the job sheet that a document holds, by the trade it names; Problem with the first fault's line."""
    sheet = validate(model_of(trade_of(document, of_visit), "job"), document, remedy=REMEDY)
    assert isinstance(sheet, JobSheet)
    return sheet


def read_appliance_sheet(document: Document, of_visit: TradeData | None = None) -> ApplianceSheet:
    """Return the appliance sheet that a document holds, by the trade it names; Problem as `read_job_sheet`."""
    sheet = validate(model_of(trade_of(document, of_visit), "appliance"), document, remedy=REMEDY)
    assert isinstance(sheet, ApplianceSheet)
    return sheet


def load_sheets(path: Path, of_visit: TradeData | None = None) -> tuple[Sheets, tuple[Document, Document]]:
    """Read a job sheet and the appliance sheet it names; raise Problem with the line of the first fault.

    `of_visit` is the trade of the visit that they are for, as `trade_of` has it.
    """
    job_document = read_document(path)
    job = read_job_sheet(job_document, of_visit)
    appliance_path = path.parent / job.appliance
    if not appliance_path.is_file():
        raise Problem(
            f"there is no appliance sheet {job.appliance!r} beside the job sheet",
            where=str(job_document.place(("appliance",))),
            remedy="put the procedures team's file there or correct the name",
        )
    document = read_document(appliance_path)
    appliance = read_appliance_sheet(document, of_visit)
    if appliance.trade != job.trade:
        what = f"the appliance sheet is of {appliance.trade}, and the job sheet of {job.trade}"
        raise Problem(what, where=str(document.place(("trade",))), remedy="use sheets of one trade")
    sheets = trade_of(job_document, of_visit).sheets(job=job, appliance=appliance)
    for key, what, remedy in sheets.disagreements():
        raise Problem(what, where=str(job_document.place((key,))), remedy=remedy)
    return sheets, (job_document, document)


__all__ = ["ApplianceSheet", "JobSheet", "Sheets", "load_sheets", "model_of", "read_appliance_sheet", "trade_of"]
