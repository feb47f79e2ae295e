"""Job sheets: checked, or made by asking for every fact, serials and dates by voice if wanted."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path
from typing import Any

import typer
from ruamel.yaml import YAML

from handsfree.procedure.languages import english
from handsfree.problem import Problem
from handsfree.procedure.sheets import ApplianceSheet, load_sheets
from handsfree.procedure.yaml_reader import read_document, validate


def check_sheet(file: Path) -> dict[str, Any]:
    """Return what a job sheet holds, which limits no sheet gives, and whether the instrument is out of date."""
    sheets, _ = load_sheets(file)
    job, appliance, fuel = sheets.job, sheets.appliance, sheets.fuel
    limits = {
        "CO2 at maximum rate": fuel.co2.get("maximum"),
        "CO2 at minimum rate": fuel.co2.get("minimum"),
        "rule between the rates": fuel.between_rates,
        "CO": fuel.co,
        "standing pressure": fuel.standing_pressure,
        "working pressure": fuel.working_pressure,
        "rated input": fuel.input_kilowatt or None,
        "flue temperature": appliance.flue_temperature_high,
        "wait after a change": appliance.wait_after_change_seconds,
        "hold time-out": appliance.hold_minutes,
        "adjuster for maximum rate": appliance.adjusters.get("maximum"),
        "adjuster for minimum rate": appliance.adjusters.get("minimum"),
    }
    return {
        "facts": {
            "job": job.job,
            "site": job.site,
            "technician": f"{job.technician.name}, licence {job.technician.licence}",
            "appliance": f"{appliance.appliance}, serial {job.serial}",
            "maker's data": f"{appliance.manual.file}, revision {appliance.manual.revision}, {appliance.basis}",
            "fuel": job.fuel,
            "instrument": f"{job.instrument.name}, serial {job.instrument.serial}, CO2 {job.instrument.co2}",
            "calibrated until": job.instrument.calibrated_until.isoformat(),
        },
        "no_limit_loaded": [name for name, limit in limits.items() if limit is None],
        "out_of_date": job.instrument.calibrated_until < date.today(),  # noqa: DTZ011 - the technician's day
    }


def make_sheet(file: Path, appliance: Path, *, by_voice: bool, microphone: str | None, model: Path) -> None:
    """Ask for every fact and write the sheet beside the appliance's; an existing file is never overwritten."""
    if file.exists():
        raise Problem("this file exists already", where=str(file), remedy="name a new one")
    if appliance.resolve().parent != file.resolve().parent:
        raise Problem("the job sheet must stand beside the maker's data", where=str(file), remedy="use one folder")
    data = validate(ApplianceSheet, read_document(appliance))
    spell = _Speller(microphone, model) if by_voice else None
    fuel = typer.prompt("Fuel", default=next(iter(data.fuels)))
    if fuel not in data.fuels:
        raise Problem(
            f"the maker's data has no {fuel!r}", where=str(appliance), remedy=f"it has: {', '.join(data.fuels)}"
        )
    content: dict[str, Any] = {
        "handsfree": 1,
        "job": typer.prompt("Job number"),
        "site": typer.prompt("Site"),
        "technician": {"name": typer.prompt("Your name"), "licence": typer.prompt("Your licence number")},
        "appliance": appliance.name,
        "serial": _spelled(spell, "Serial number of the appliance"),
        "fuel": fuel,
        "altitude_metre": int(typer.prompt("Altitude, metres", default="0")),
        "instrument": {
            "name": typer.prompt("Instrument"),
            "serial": _spelled(spell, "Serial number of the instrument"),
            "calibrated_until": _day(spell, "Calibrated until, year month day"),
            "co2": typer.prompt("CO2 is measured or computed", default="measured"),
        },
    }
    buffer = io.StringIO()
    YAML().dump(content, buffer)
    with file.open("x", encoding="utf-8") as out:
        out.write(buffer.getvalue())


def _spelled(spell: _Speller | None, what: str) -> str:
    return str(typer.prompt(what)) if spell is None else spell.ask(what)


def _day(spell: _Speller | None, what: str) -> str:
    text = str(typer.prompt(f"{what} (2027-06-30)")) if spell is None else spell.ask(what)
    digits = text.replace("-", "")
    try:
        return date(int(digits[:4]), int(digits[4:6]), int(digits[6:8])).isoformat()
    except ValueError as error:
        raise Problem(f"{text!r} is no date", remedy="say year, month and day, eight digits") from error


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
