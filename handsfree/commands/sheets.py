"""Job sheets: checked, or made by asking for every fact, serials and dates by voice if wanted."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, get_args, get_origin

import typer
from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo
from ruamel.yaml import YAML
from ruamel.yaml.nodes import ScalarNode

from handsfree.documents import parse_document, read_document
from handsfree.plain import plainly
from handsfree.problem import Problem
from handsfree.procedure.languages import english
from handsfree.procedure.sheets import load_sheets, model_of, read_appliance_sheet, read_job_sheet, trade_of
from handsfree.procedure.template import bare, wanted

AskPerson = Callable[[str], str]
"""Asks a person for one thing and returns what was answered."""

_GIVEN = frozenset({"handsfree", "trade", "appliance"})
"""Facts of the job sheet that the appliance sheet settles."""

_DIGITS_OF_A_DAY = 8


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


def make_sheet(file: Path, appliance: Path, *, by_voice: bool, microphone: str | None, model: Path) -> None:
    """Ask for every fact and write the sheet beside the appliance's; an existing file is never overwritten.

    An answer that cannot stand is asked again, so that none is lost; the file is written when all are right.
    """
    if file.exists():
        raise Problem("this file exists already", where=str(file), remedy="name a new one")
    if appliance.resolve().parent != file.resolve().parent:
        raise Problem("the job sheet must stand beside the maker's data", where=str(file), remedy="use one folder")
    document = read_document(appliance)
    data, trade = read_appliance_sheet(document), trade_of(document)
    spell = _Speller(microphone, model).ask if by_voice else None
    sheet = model_of(trade, "job")
    content: dict[str, Any] = {"handsfree": 1, "trade": trade.name, "appliance": appliance.name}
    for name, field in sheet.model_fields.items():
        if name not in _GIVEN:
            content |= _asked(name, field, spell)
    while True:
        text = _written(content)
        job = read_job_sheet(parse_document(text, str(file)))
        wrong = next(trade.sheets(job=job, appliance=data).disagreements(), None)
        if wrong is None:
            break
        key, what, remedy = wrong
        typer.echo(f"{what}; {remedy}")
        content |= _asked(key, sheet.model_fields[key], spell)
    with file.open("x", encoding="utf-8") as out:
        out.write(text)


def _asked(name: str, field: FieldInfo, spell: AskPerson | None, of: str = "") -> dict[str, Any]:
    """Return a fact that was asked for; nothing when it need not be given and is not."""
    kind, what = bare(field.annotation), f"{of}{name.replace('_', ' ')}"
    if get_origin(kind) is dict:
        return {}  # a table is written by hand
    if get_origin(kind) is tuple:
        return {name: list(_each(bare(get_args(kind)[0]), what, spell))}
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        if not field.is_required() and not typer.confirm(f"Write the {what} too?", default=False):
            return {}
        return {name: _block(kind, what, spell)}
    return _value(name, field, kind, what, spell)


def _each(kind: type[BaseModel], what: str, spell: AskPerson | None) -> Iterator[dict[str, Any]]:
    while typer.confirm(f"One more of the {what}?", default=False):
        yield _block(kind, what, spell)


def _block(kind: type[BaseModel], what: str, spell: AskPerson | None) -> dict[str, Any]:
    facts: dict[str, Any] = {}
    for name, field in kind.model_fields.items():
        facts |= _asked(name, field, spell, f"{what}, ")
    return facts


def _value(name: str, field: FieldInfo, kind: Any, what: str, spell: AskPerson | None) -> dict[str, Any]:
    """Return one plain fact, asked until it can stand."""
    declared: Any = field.annotation
    if field.metadata:
        declared = Annotated[declared, *field.metadata]
    right: TypeAdapter[Any] = TypeAdapter(declared, config=ConfigDict(strict=True))
    by_voice = spell is not None and (name == "serial" or kind is date)
    while True:
        if by_voice and spell is not None:
            text = spell(what)
        else:
            default = None if field.is_required() else "" if field.default is None else str(field.default)
            says = f" - {field.description}" if field.description else ""
            text = str(typer.prompt(f"{what} ({wanted(kind)}){says}", default=default, show_default=bool(default)))
        if not text and not field.is_required():
            return {}
        value = _read(text.strip(), kind)
        try:
            right.validate_python(value)
        except ValidationError as error:
            typer.echo(f"{text!r} cannot stand: {plainly(error.errors()[0])}")
        else:
            return {name: value}


def _read(text: str, kind: Any) -> Any:
    """Return what was answered as a file would hold it: a number for a number, a day with its hyphens."""
    if kind is date and text.isdigit() and len(text) == _DIGITS_OF_A_DAY:
        return f"{text[:4]}-{text[4:6]}-{text[6:]}"  # as it is spelled by voice
    if kind in {Decimal, int}:
        content = parse_document(f"- {text}", "answer").content if _one_line(text) else [text]
        return content[0]
    return text


def _one_line(text: str) -> bool:
    return text.replace(".", "", 1).removeprefix("-").isdigit()


def _written(content: dict[str, Any]) -> str:
    yaml = YAML()
    yaml.representer.add_representer(Decimal, _exact)
    buffer = io.StringIO()
    yaml.dump(content, buffer)
    return buffer.getvalue()


def _exact(representer: Any, value: Decimal) -> ScalarNode:
    node: ScalarNode = representer.represent_scalar("tag:yaml.org,2002:float", f"{value:f}")
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
