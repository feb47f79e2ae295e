"""A company on one machine: make its folder, and run what serves it."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Annotated

import typer

from handsfree.commands.enrolling import passphrase
from handsfree.problem import Problem, one_line

app = typer.Typer(help="A company.")
_company = typer.Typer(help="Serve a company from one machine: init, run.")
app.add_typer(_company, name="company")


@_company.command()
def init(
    folder: Annotated[Path, typer.Argument(help="A new folder for all that the company keeps.")],
    name: Annotated[str, typer.Argument(help="The company's name.")],
    *,
    reached_at: Annotated[
        list[str] | None, typer.Option("--name", help="A name or address at which devices reach this machine.")
    ] = None,
    office_port: Annotated[int, typer.Option(min=0, max=65535, help="The port for devices.")] = 8471,
    desk_port: Annotated[int, typer.Option(min=0, max=65535, help="The port for supervisors.")] = 8470,
    store: Annotated[
        str, typer.Option(help="postgresql://USER@HOST/DATABASE: a PostgreSQL that is kept elsewhere.")
    ] = "",
    objects: Annotated[
        str, typer.Option(help="Keep each visit as an object in this folder, or s3://BUCKET/PREFIX elsewhere.")
    ] = "",
    objects_port: Annotated[
        int, typer.Option(min=1024, max=55_532, help="The first of four ports of its own object store.")
    ] = 8473,
    embedded: Annotated[
        bool, typer.Option("--embedded", help="Without any server: SQLite for the catalogue, folders for visits.")
    ] = False,
    passphrase_file: Annotated[
        Path | None, typer.Option(help="A file whose first line is the passphrase of the office's key.")
    ] = None,
    start: Annotated[
        bool, typer.Option("--start/--no-start", help="Run it at once, until Ctrl-C, or only set it up.")
    ] = True,
) -> None:
    """Make a company and start what serves it: its PostgreSQL, its object store, the office and the desk."""
    from handsfree.company.configuration import CompanyConfiguration  # noqa: PLC0415 - the extra `desk`
    from handsfree.company.founding import found, next_steps, what_it_keeps, with_own_stores  # noqa: PLC0415

    if store and not store.startswith("postgresql://"):
        raise Problem(
            "no address of a PostgreSQL", where=repr(store), remedy="say postgresql://USER@HOST/DATABASE"
        )
    try:
        settings = CompanyConfiguration(
            name=name,
            names=tuple(reached_at or ()),
            office_port=office_port,
            desk_port=desk_port,
            store=store,
            objects=objects,
        )
    except ValueError as error:
        raise Problem("a company's name is 1 to 80 letters", where=repr(name)) from error
    if not embedded:
        settings = with_own_stores(folder.resolve(), settings, objects_port)
    company = found(folder.resolve(), settings, passphrase(passphrase_file, new=True) or "")
    typer.echo(one_line(f"{name} is set up in {company.folder}. {what_it_keeps(settings)} Next:"))
    for number, step in enumerate(next_steps(company, settings), start=1):
        typer.echo(one_line(f"{number}. {step}"))
    if start:
        run(folder)


@_company.command()
def run(folder: Annotated[Path, typer.Argument(help="The company's folder.")]) -> None:
    """Run the office and the desk until Ctrl-C or SIGTERM; whichever ends is started again."""
    from handsfree.company.configuration import read_configuration  # noqa: PLC0415
    from handsfree.company.running import processes_of  # noqa: PLC0415
    from handsfree.company.running import run as serve  # noqa: PLC0415

    processes = processes_of(folder.resolve(), read_configuration(folder))
    serve(folder.resolve(), processes, lambda says: typer.echo(one_line(says)), threading.Event())
