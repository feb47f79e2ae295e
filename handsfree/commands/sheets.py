"""Job sheets: checked, or made by asking for every fact, serials and dates by voice if wanted."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from contextlib import nullcontext
from datetime import date
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

import typer
from ruamel.yaml import YAML
from ruamel.yaml.nodes import ScalarNode

from handsfree.commands.interview import Interview
from handsfree.commands.sheet_questions import SheetQuestions
from handsfree.commands.written_answers import choice_written
from handsfree.desk.earlier_records import EarlierRecords
from handsfree.desk.known_before import KnownBefore
from handsfree.documents import parse_document, read_document
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets, model_of, read_appliance_sheet, read_job_sheet, trade_of
from handsfree.procedure.trades import TradeData, trade_data_asked
from handsfree.visit.sheet_standing import sheet_standing

AskPerson = Callable[[str], str]
"""Asks a person for one thing and returns what was answered."""

_GIVEN = frozenset({"handsfree", "trade", "appliance"})
"""Facts of the job sheet that the appliance sheet settles."""

FIRST_VERSION = "1.0.0"
"""Of a new sheet of maker's data; each change raises it."""


def check_sheet(file: Path) -> dict[str, Any]:
    """Return what a job sheet holds, which limits no sheet gives, and whether an instrument is out of date."""
    sheets, _ = load_sheets(file)
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
    interview = Interview(file)
    spell = _Speller(microphone, model).ask if by_voice and model is not None else None
    with nullcontext(None) if last_visits is None else EarlierRecords(last_visits) as records:
        content = interview.lead(lambda: _job(file, appliance, visit, interview, spell=spell, records=records))
    _write(file, content)
    interview.done()


def _job(
    file: Path,
    appliance: Path | None,
    visit: Path | None,
    interview: Interview,
    *,
    spell: AskPerson | None,
    records: EarlierRecords | None,
) -> dict[str, Any]:
    """Return the content of a job sheet, asked until job and maker's data agree."""
    document = read_document(appliance or _appliance_beside(file, interview))
    if Path(document.file).resolve().parent != file.resolve().parent:
        raise Problem("the job sheet must stand beside the maker's data", where=str(file), remedy="use one folder")
    data, trade = read_appliance_sheet(document), trade_of(document)
    needed = _needed(visit)
    questions = SheetQuestions(interview, _units(trade), needed, spell=spell)
    name = Path(document.file).name
    unasked = _GIVEN | _idle(visit)
    if records is not None:
        known = KnownBefore(records, model_of(trade, "job"), trade.name, known_enrolment())
        interview.offer = partial(_offer, known, records.left_out)
    while True:
        given: dict[str, Any] = {"handsfree": 1, "trade": trade.name, "appliance": name}
        content = given | questions.block(model_of(trade, "job"), "", unasked)
        job = read_job_sheet(parse_document(_written(content), str(file)))
        wrong = next(trade.sheets(job=job, appliance=data).disagreements(), None)
        if wrong is None:
            return content
        key, what, remedy = wrong
        typer.echo(f"{what}; {remedy}")
        interview.forget(key)


def _offer(known: KnownBefore, left_out: list[str], path: str, given: Mapping[str, str]) -> tuple[str, str] | None:
    """Return what an earlier visit answers to a question, and of which day it is; tell what was left out."""
    found = known.offer(path, given)
    while left_out:
        typer.echo(left_out.pop(0))
    return None if found is None else (found.text, f"On the job sheet of {found.day}")


def _idle(visit: Path | None) -> frozenset[str]:
    """Return the facts of the job sheet that change nothing of a visit: they are not asked for."""
    if visit is None:
        return frozenset({"language", "photos"})
    procedure = load_procedure(visit)
    used = {"language": bool(procedure.file.translations)}
    used["photos"] = any(placed.gate.photo for placed in procedure.gates.values())
    return frozenset(name for name, is_used in used.items() if not is_used)


def _needed(visit: Path | None) -> frozenset[str]:
    """Return the facts of the job sheet that a visit or a part of it cannot do without."""
    if visit is None:
        return frozenset()
    documents = (one.content for one in load_procedure(visit).documents)
    named = (one.get("jobsheet") or () for one in documents if isinstance(one, dict))
    return frozenset(fact.replace("-", "_") for facts in named for fact in facts)


def _appliance_beside(file: Path, interview: Interview) -> Path:
    """Return the maker's data to use, of the files beside the new sheet."""
    found: dict[str, Path] = {}
    for path in sorted(file.resolve().parent.glob("*.yaml")):
        try:
            read_appliance_sheet(read_document(path))
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
    asked = f"Maker's data (one of: {', '.join(found)})"
    return found[interview.ask("maker's data", asked, lambda text: choice_written(text, tuple(found)))]


def make_appliance_sheet(file: Path, trade: str, visit: Path | None = None) -> None:
    """Ask for the maker's data in the order of a manual, and say what a visit lacks without a figure."""
    _is_new(file)
    interview, of = Interview(file), trade_data_asked(trade)
    without = _gates_without(of, visit)
    questions = SheetQuestions(interview, _units(of), without=lambda name: without.get(name, ""))
    given = {"handsfree": 1, "trade": of.name, "version": FIRST_VERSION}

    def walk() -> dict[str, Any]:
        return given | questions.block(model_of(of, "appliance"), "", frozenset(given))

    content = interview.lead(walk)
    while True:
        try:
            read_appliance_sheet(parse_document(_written(content), str(file)))
        except Problem as problem:
            typer.echo(problem.what)
            interview.forget(str(list(content)[-1]))
            content = interview.lead(walk)
        else:
            break
    _write(file, content)
    interview.done()


def _gates_without(of: TradeData, visit: Path | None) -> dict[str, str]:
    """Return fact -> the sentence that names the gates which say "no limit loaded" without it."""
    if visit is None:
        return {}
    gates = load_procedure(visit).gates.values()
    told = {}
    for fact, calculations in of.sheets.judged_by().items():
        lacking = [
            one.id
            for one in gates
            if one.gate.effects.judges and one.gate.effects.judges.calculation in calculations
        ]
        if lacking:
            told[fact] = (
                f'Without {fact.replace("_", " ")} these gates say "no limit loaded": {", ".join(lacking)}.'
            )
    return told


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


def _units(of: TradeData) -> dict[str, str]:
    return {name: one.unit for name, one in of.quantities.items()}


def _is_new(file: Path) -> None:
    if file.exists():
        raise Problem("this file exists already", where=str(file), remedy="name a new one")


def _write(file: Path, content: dict[str, Any]) -> None:
    with file.open("x", encoding="utf-8") as out:
        out.write(_written(content))


def _written(content: dict[str, Any]) -> str:
    yaml = YAML()
    yaml.representer.add_representer(Decimal, _exact)
    buffer = io.StringIO()
    yaml.dump(content, buffer)
    return buffer.getvalue()


def _exact(representer: Any, value: Decimal) -> ScalarNode:
    text = f"{value:f}"
    kind = "float" if "." in text else "int"  # a whole number tagged otherwise would be written in quotes
    node: ScalarNode = representer.represent_scalar(f"tag:yaml.org,2002:{kind}", text)
    return node


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
