"""The technician's commands: the demo, a visit, going on with one, and hearing files."""

from __future__ import annotations

import json
import sys
from contextlib import nullcontext
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.commands.general_recogniser import AskGeneral, GeneralModel
from handsfree.commands.visit_options import MicrophoneName, Model, VisitOptions, with_visit_options
from handsfree.problem import ExitCode
from handsfree.shipped import model_folder, procedure_path
from handsfree.trades import DEFAULT_TRADE

app = typer.Typer(help="The technician's commands.")

_AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for a machine to read.")]
_COLUMN = {"tool": "Tool", "person": "Technician", "heard": "  heard", "keys": "  keys"}


@app.command()
def demo(
    *,
    out: Annotated[
        Path | None, typer.Option("--out", help="A new folder for the visit; visits/demo-N when left out.")
    ] = None,
    snr: Annotated[float, typer.Option("--snr", help="Voice over burner roar, in dB.")] = 20.0,
    procedure: Annotated[
        str, typer.Option(help="A procedure by name or file; the demo's boiler fits the combustion ones.")
    ] = "two-rate-combustion",
    voice: Annotated[str, typer.Option(help="The espeak voice that plays the technician.")] = "en-us+m3",
    clips: Annotated[
        Path | None, typer.Option(help="Sound files to speak in place of the voice, named after the words.")
    ] = None,
    glance: Annotated[bool, typer.Option("--glance", help="Show the technician's screen while it plays.")] = False,
    in_band: Annotated[
        bool, typer.Option("--in-band", help="The boiler is found in its band; else it is found lean.")
    ] = False,
    model: Model = None,
    ask_general: AskGeneral = True,
    general_model: GeneralModel = None,
    as_json: _AsJson = False,
) -> None:
    """Play a whole visit: a voice in burner noise, the real recogniser and record. Takes about a minute."""
    from handsfree.commands.demonstration import play_demo  # noqa: PLC0415 - loads the recogniser

    def tell(who: str, text: str) -> None:
        if not as_json and not glance:
            typer.echo(f"{_COLUMN[who]:>10}  {text}")

    path = out or _next_folder(Path("visits"))
    outcome = play_demo(
        path,
        procedure_path(procedure),
        model or model_folder(),
        snr_db=snr,
        voice=voice,
        clips=clips,
        tell=tell,
        glance=glance,
        in_band=in_band,
        ask_general=ask_general,
        general_model=general_model,
    )
    if as_json:
        typer.echo(json.dumps(outcome))
        return
    tally = outcome["tally"]
    typer.echo(
        f"\nSaid {tally['said']} times at {snr:g} dB: {tally['right']} heard right, {tally['wrong']} heard wrong, "
        f"{tally['not_understood']} asked again, {tally['typed']} typed, {tally['false_stops']} false stops."
    )
    typer.echo(f"DEMO record: {outcome['ledger']} ({outcome['entries']} entries, checksum {outcome['checksum']})")
    typer.echo(f"Check it: handsfree verify {outcome['folder']}")
    typer.echo(outcome["goal"])
    typer.echo(f"Took {outcome['seconds']} s for a visit of {outcome['visit_minutes']} minutes.")


def _next_folder(parent: Path) -> Path:
    number = 1
    while (parent / f"demo-{number}").exists():
        number += 1
    return parent / f"demo-{number}"


@app.command()
@with_visit_options
def visit(
    procedure: Annotated[
        str, typer.Argument(help="A procedure by the name of a bundle taken or of one that ships, or by file.")
    ],
    *,
    jobsheet: Annotated[
        Path, typer.Option("--jobsheet", help="The job sheet; the appliance sheet stands beside it.")
    ],
    out: Annotated[Path | None, typer.Option("--out", help="A new folder for the visit.")] = None,
    language: Annotated[
        str | None,
        typer.Option("--language", help="The language it is led in, in place of the job sheet's: german."),
    ] = None,
    last_visits: Annotated[
        Path | None,
        typer.Option(
            "--last-visits",
            metavar="FOLDER",
            help="Records of earlier visits, as the office hands them back: what they left here is told.",
        ),
    ] = None,
    draft: Annotated[
        bool,
        typer.Option(
            "--draft", help="Lead a procedure that no author approved: the record and every paper say so."
        ),
    ] = False,
    unproven: Annotated[
        bool,
        typer.Option("--unproven", help="Lead a procedure whose proofs fail: the record and every paper say so."),
    ] = False,
    options: VisitOptions,
) -> None:
    """Lead a visit, gate by gate, by voice or keys; the record is on disk before anything is acknowledged."""
    from handsfree.commands.conducting import conduct_new  # noqa: PLC0415 - loads sound

    raise typer.Exit(
        conduct_new(
            procedure,
            jobsheet,
            out,
            options,
            draft=draft,
            unproven=unproven,
            language=language,
            last_visits=last_visits,
        )
    )


@app.command()
@with_visit_options
def resume(
    folder: Annotated[Path, typer.Argument(help="The folder of the interrupted visit.")],
    *,
    options: VisitOptions,
) -> None:
    """Go on with an interrupted visit: burner, rate and everything altered are asked again first."""
    from handsfree.commands.conducting import conduct_resumed  # noqa: PLC0415 - loads sound

    raise typer.Exit(conduct_resumed(folder, options))


@app.command()
def hear(
    files: Annotated[list[Path], typer.Argument(help="Sound files, or folders of them.")],
    *,
    gate: Annotated[str | None, typer.Option(help="What a gate accepts, as PROCEDURE:GATE.")] = None,
    accept: Annotated[str, typer.Option(help="Without a gate: reading, confirm or all.")] = "all",
    model: Model = None,
    ask_general: AskGeneral = True,
    general_model: GeneralModel = None,
    as_json: _AsJson = False,
) -> None:
    """Say what is heard in each file: the words, the value, how sure, what a visit does, what else it may be."""
    from handsfree.commands.hearing_files import hear_files  # noqa: PLC0415 - loads the recogniser

    folder = model or model_folder()
    for row in hear_files(files, gate, accept, folder, ask_general=ask_general, general_model=general_model):
        if as_json:
            typer.echo(json.dumps(row))
        else:
            others = "; ".join(one["text"] for one in row["alternatives"][1:3])
            does = row["does"] + (f" ({row['why']})" if row["why"] else "")
            shown = [row["file"], row["text"] or "(nothing)", row["value"] or "-", row["confidence"] or "-", does]
            typer.echo("  ".join(shown) + f"  {row['seconds']} s" + (f"  else: {others}" if others else ""))


@app.command()
def jobsheet(
    file: Annotated[Path, typer.Argument(help="The job sheet: checked when it is there, else made.")],
    *,
    new: Annotated[bool, typer.Option("--new", help="Make it, and refuse when it is there.")] = False,
    appliance: Annotated[
        Path | None, typer.Option(help="The maker's data for the model; found beside it when left out.")
    ] = None,
    visit_name: Annotated[
        str | None, typer.Option("--visit", help="The procedure it is for: whatever that needs is asked for.")
    ] = None,
    last_visits: Annotated[
        Path | None,
        typer.Option(
            "--last-visits",
            metavar="FOLDER",
            help="Records of earlier visits: what they know of the appliance or the site is offered.",
        ),
    ] = None,
    by_voice: Annotated[bool, typer.Option("--voice", help="Spell serial and dates by voice.")] = False,
    microphone: MicrophoneName = None,
    model: Model = None,
    as_json: _AsJson = False,
) -> None:
    """Make a job sheet by an interview that keeps each answer, or check one and say what it lacks."""
    from handsfree.commands.sheets import check_sheet, make_job_sheet  # noqa: PLC0415 - loads sound for --voice
    from handsfree.visit.standing import chosen  # noqa: PLC0415 - loads what verifies bundles

    with nullcontext((None, None)) if visit_name is None else chosen(visit_name) as (visit_file, _):
        if new or not file.exists():
            voice = (model or model_folder()) if by_voice else None
            make_job_sheet(
                file,
                appliance,
                visit_file,
                by_voice=by_voice,
                microphone=microphone,
                model=voice,
                last_visits=last_visits,
            )
        report: dict[str, Any] = check_sheet(file, visit_file)
    if as_json:
        typer.echo(json.dumps(report))
    else:
        for name, value in report["facts"].items():
            typer.echo(f"{name}: {value}")
        for lacking in report["no_limit_loaded"]:
            typer.echo(f"no limit loaded: {lacking} (see the manual)")
    if report["out_of_date"]:
        sys.stderr.write("the instrument's calibration is out of date\n")
        raise typer.Exit(ExitCode.FAILED)


@app.command("appliance")
def appliance_sheet(
    file: Annotated[Path, typer.Argument(help="The sheet of maker's data: checked when it is there, else made.")],
    *,
    trade: Annotated[str, typer.Option(help="The trade it belongs to.")] = DEFAULT_TRADE,
    visit_name: Annotated[
        str | None,
        typer.Option("--visit", help="The procedure whose gates are told; the commissioning's when left out."),
    ] = None,
    sign: Annotated[
        bool,
        typer.Option("--sign", help="Hold each figure against the manual, and sign; two people make a check."),
    ] = False,
    key: Annotated[
        Path | None, typer.Option("--key", help="Your author's key; this machine's own author when left out.")
    ] = None,
    enrolment: Annotated[
        Path | None, typer.Option("--list", help="The enrolment list; the state folder's when left out.")
    ] = None,
    passphrase_file: Annotated[
        Path | None, typer.Option(help="A file whose first line is the passphrase; else it is asked for.")
    ] = None,
    as_json: _AsJson = False,
) -> None:
    """Make a sheet of maker's data by an interview in a manual's order; check one, or sign it."""
    from handsfree.commands.sheet_signing import sign_sheet  # noqa: PLC0415 - loads procedures
    from handsfree.commands.sheets import check_appliance, make_appliance_sheet  # noqa: PLC0415

    if sign:
        sign_sheet(file, key, enrolment, passphrase_file)
        return
    if not file.exists():
        usual = "commissioning" if trade == DEFAULT_TRADE else None
        named = visit_name or usual
        make_appliance_sheet(file, trade, None if named is None else procedure_path(named))
    report = check_appliance(file)
    if as_json:
        typer.echo(json.dumps(report))
    else:
        for name, value in report.items():
            typer.echo(f"{name}: {value}")
