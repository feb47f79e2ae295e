"""How the person and the tool talk on a visit: the options that `visit` and `resume` share."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.commands.general_recogniser import AskGeneral, GeneralModel

Model = Annotated[
    Path | None, typer.Option("--model", help="Another English speech model in Vosk layout; ours when left out.")
]
MicrophoneName = Annotated[str | None, typer.Option(help="The microphone's name, or a part of it.")]


@dataclass(frozen=True, kw_only=True)
class VisitOptions:
    """Each field is an option of the command line, said here once."""

    typed: Annotated[bool, typer.Option("--typed", help="Answer with the keys, without a microphone.")] = False
    sound: Annotated[
        Path | None,
        typer.Option(
            "--sound",
            help="Hear a sound file or a folder of them in place of a microphone; or phone, to talk through it.",
        ),
    ] = None
    microphone: MicrophoneName = None
    headset: Annotated[bool, typer.Option("--headset", help="A headset: you may talk over the tool.")] = False
    silent: Annotated[bool, typer.Option("--silent", help="Prompts as text only.")] = False
    plain: Annotated[bool, typer.Option("--plain", help="Lines in place of the big-type screen.")] = False
    glance_web: Annotated[
        str | None,
        typer.Option(
            "--glance-web",
            metavar="ADDRESS:PORT",
            help="Also a page for a phone: 0.0.0.0:8750 for the local network, 127.0.0.1:8750 for this machine.",
        ),
    ] = None
    photos: Annotated[
        Path | None,
        typer.Option(
            "--photos",
            metavar="FOLDER",
            help="Take photos that a camera or a phone puts into this folder during the visit.",
        ),
    ] = None
    instrument: Annotated[
        Path | None,
        typer.Option(
            "--instrument",
            metavar="MAPPING",
            help="Set beside what is called what an instrument shows, read by this mapping.",
        ),
    ] = None
    instrument_source: Annotated[
        Path | None,
        typer.Option(
            "--instrument-source",
            metavar="FILE_OR_DEVICE",
            help="Where the instrument of --instrument writes: a file that grows, a pipe, or a serial line.",
        ),
    ] = None
    hand_over: Annotated[
        str | None,
        typer.Option(
            "--hand-over",
            metavar="ADDRESS:PORT",
            help="When the visit closes: hand the customer's page to a phone by a link that works once.",
        ),
    ] = None
    model: Model = None
    ask_general: AskGeneral = True
    general_model: GeneralModel = None
    timestamp_server: Annotated[
        str,
        typer.Option(
            "--timestamp-server",
            metavar="URL",
            help="A time-stamp authority (RFC 3161) that stamps the record as soon as it is closed.",
        ),
    ] = ""
    alert_command: Annotated[
        str,
        typer.Option(
            "--alert-command",
            help="Run when nobody answers at a firing gate: a command of this device, with whom the sheet names.",
        ),
    ] = ""


def with_visit_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the fields of `VisitOptions` as options, in place of its parameter `options`."""
    own = inspect.signature(command, eval_str=True)
    fields = inspect.signature(VisitOptions, eval_str=True).parameters

    @functools.wraps(command)
    def with_options(**given: Any) -> None:
        options = VisitOptions(**{name: given.pop(name) for name in fields})
        command(**given, options=options)

    shown = [one for name, one in own.parameters.items() if name != "options"]
    with_options.__signature__ = own.replace(parameters=[*shown, *fields.values()])  # type: ignore[attr-defined]
    return with_options
