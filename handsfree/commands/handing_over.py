"""The hand-over by network: the office that takes visits in, and the device's sending, fetching and thinning."""

from __future__ import annotations

import datetime as dt
import json
from contextlib import closing
from pathlib import Path
from typing import Annotated

import typer

from handsfree.ledger import state_folder
from handsfree.ledger.clock import SystemClock, stamp
from handsfree.ledger.files import Disk, contents, ensure_folder, put
from handsfree.office.enrolment import Role
from handsfree.office.verification import known_enrolment
from handsfree.problem import ExitCode, Problem, one_line

app = typer.Typer(help="Hand visits over by network.")
_outbox = typer.Typer(help="Lay ready what a device fetches when it sends next: put, ask, list.")
app.add_typer(_outbox, name="outbox")

_Device = Annotated[str, typer.Argument(help="The device: its public key, or its name on the list.")]


@app.command()
def office(
    visits: Annotated[Path, typer.Argument(help="The folder of visits to take them into.")],
    *,
    host: Annotated[str, typer.Option(help="The address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port; 0 takes a free one.")] = 8471,
    name: Annotated[list[str] | None, typer.Option(help="A name or address that devices reach it by.")] = None,
    objects: Annotated[
        str, typer.Option(help="Keep each visit as an object too: a folder for them, or s3://BUCKET/PREFIX.")
    ] = "",
) -> None:
    """Take visits in over the network: verified on arrival, receipted, none twice; hand out what waits."""
    try:
        from handsfree.handover.office_site import AUTHORITY_FILE, LIMITS, OfficeSite, office_tls  # noqa: PLC0415
        from handsfree.objects.opening import object_store_of  # noqa: PLC0415
        from handsfree.serving import Server, listen  # noqa: PLC0415
    except ImportError as error:
        raise Problem(f"the office needs {error.name}", remedy="pip install 'handsfree[desk]'") from error
    state = state_folder()
    site = OfficeSite(visits, state, objects=object_store_of(objects) if objects else None)
    names = [*(name or ()), *([host] if host not in {"0.0.0.0", "::", ""} else [])]  # noqa: S104 - all addresses
    server = Server(listen(host, port), LIMITS, office_tls(state, names))
    typer.echo(f"https://{names[0] if names else 'localhost'}:{server.port}")
    typer.echo(
        f"Devices trust it by {state / AUTHORITY_FILE}; hand that file and the enrolment list to them.", err=True
    )
    with closing(site.intake):
        server.run(site.application())


@app.command()
def send(
    folders: Annotated[list[Path] | None, typer.Argument(help="Visits, or folders with visits in them.")] = None,
    *,
    to: Annotated[str | None, typer.Option(help="The office's address, https; kept for the next time.")] = None,
    trust: Annotated[
        Path | None, typer.Option(help="The office's authority (PEM), kept for the next time; else the system's.")
    ] = None,
    inbox: Annotated[Path, typer.Option(help="Where to lay what waits at the office for this device.")] = Path(
        "from-the-office"
    ),
) -> None:
    """Send closed visits to the office, keep its receipts, and fetch what waits there for this device."""
    from handsfree.handover.credentials import request_key  # noqa: PLC0415
    from handsfree.handover.fetching import fetch  # noqa: PLC0415
    from handsfree.handover.office_link import OfficeLink  # noqa: PLC0415
    from handsfree.handover.sending import Sender, SentAs  # noqa: PLC0415
    from handsfree.ledger.visit import visits_beneath  # noqa: PLC0415

    address, authority = _office_of(to, trust)
    enrolment = known_enrolment()
    if enrolment is None or not enrolment.of(Role.RECEIVER):
        raise Problem("this device knows no receiver of its office", where=str(state_folder()),
                      remedy="take the office's list over: handsfree enrol import FILE")  # fmt: skip
    link = OfficeLink(address, request_key(state_folder()), authority)
    _keep_office(to, trust)  # only now: an address that is none is not kept
    sender, bad = Sender(link, enrolment), 0
    try:
        for folder in folders or []:
            if not folder.is_dir():
                raise Problem("there is no such folder", where=str(folder))
            for visit in visits_beneath(folder):
                sent = sender.send(visit)
                bad += sent.how is SentAs.REFUSED
                typer.echo(one_line(f"{visit}: {sent.how}{f': {sent.says}' if sent.says else ''}"))
        for fetched in fetch(link, enrolment, inbox):
            typer.echo(one_line(f"from the office: {fetched.file}{_told(fetched.file)}"))
    finally:
        link.close()
    if bad:
        raise typer.Exit(ExitCode.FAILED)


@app.command()
def thin(
    folders: Annotated[list[Path], typer.Argument(help="Visits, or folders with visits in them.")],
    *,
    after_days: Annotated[int, typer.Option(min=0, help="How old the office's receipt must be.")] = 30,
) -> None:
    """Delete from this device the sound of visits that the office has receipted; each still verifies."""
    from handsfree.handover.thinning import ThinningPolicy  # noqa: PLC0415
    from handsfree.handover.thinning import thin as thinned  # noqa: PLC0415
    from handsfree.ledger.visit import visits_beneath  # noqa: PLC0415

    policy, enrolment = ThinningPolicy(dt.timedelta(days=after_days)), known_enrolment()
    for folder in folders:
        if not folder.is_dir():
            raise Problem("there is no such folder", where=str(folder))
        for visit in visits_beneath(folder):
            done = thinned(visit, policy, enrolment, state_folder())
            typer.echo(one_line(f"{visit}: {done.why_not or f'{done.clips} clips went, {done.size} bytes'}"))


@_outbox.command(name="put")
def put_ready(
    device: Annotated[str, typer.Argument(help="The device: its key, its name on the list, or `all` of them.")],
    kind: Annotated[str, typer.Argument(help="questions, appliances, procedures, jobs or visits.")],
    files: Annotated[list[Path], typer.Argument(help="The files; the folder of a visit goes without its sound.")],
) -> None:
    """Lay files ready for a device."""
    from handsfree.handover.outbox import Consignment, Outbox  # noqa: PLC0415
    from handsfree.handover.outbox_visits import without_sound  # noqa: PLC0415

    if kind not in set(Consignment):
        raise Problem(f"there is no kind {kind!r}", remedy=f"one of: {', '.join(Consignment)}")
    outbox = Outbox(_outbox_folder())
    for file in files:
        name, data = without_sound(file) if file.is_dir() else (file.name, _data(file))
        for key in _keys_of(device):
            typer.echo(one_line(str(outbox.put(key, Consignment(kind), name, data))))


@_outbox.command()
def ask(
    device: _Device,
    visit: Annotated[Path, typer.Argument(help="The folder of the visit.")],
    question: Annotated[str, typer.Argument(help="What you want to know of the technician.")],
) -> None:
    """Ask the technician about a visit; the question is read out when the device sends next."""
    from handsfree.handover.outbox import Consignment, Outbox  # noqa: PLC0415
    from handsfree.handover.outbox_visits import question_about  # noqa: PLC0415

    name, data = question_about(visit, question)
    typer.echo(one_line(str(Outbox(_outbox_folder()).put(_key_of(device), Consignment.QUESTION, name, data))))


@_outbox.command(name="list")
def waiting(device: _Device) -> None:
    """List what waits for a device."""
    from handsfree.handover.outbox import Outbox  # noqa: PLC0415

    for one in Outbox(_outbox_folder()).waiting(_key_of(device)):
        typer.echo(one_line(f"{one.kind}/{one.name}  {one.size} bytes  {one.digest}"))


def _outbox_folder() -> Path:
    from handsfree.handover.office_site import outbox_folder  # noqa: PLC0415

    return outbox_folder(state_folder())


def _keys_of(device: str) -> list[str]:
    """Return the key of a device, or of all that are enrolled now."""
    if device != "all":
        return [_key_of(device)]
    enrolment, now = known_enrolment(), stamp(SystemClock().now().wall)
    return [each.key for each in enrolment.of(Role.DEVICE) if each.valid_at(now)] if enrolment else []


def _key_of(device: str) -> str:
    """Return the key of a device on the list; Problem when there is none, or several of that name."""
    enrolment = known_enrolment()
    found = [each for each in enrolment.of(Role.DEVICE) if device in {each.key, each.name}] if enrolment else []
    if len(found) != 1:
        raise Problem(f"{len(found)} devices on the list are called so", where=repr(device),
                      remedy="name its key: handsfree enrol list")  # fmt: skip
    return found[0].key


def _office_of(to: str | None, trust: Path | None) -> tuple[str, Path | None]:
    """Return the office's address and authority: as given, else as kept."""
    folder = state_folder() / "office"
    authority = folder / "authority.pem"
    try:
        address = contents(Disk(), folder / "address").decode() if to is None else to.rstrip("/")
    except (FileNotFoundError, UnicodeDecodeError):
        raise Problem("this device knows no office yet", remedy="name it: --to https://…") from None
    return address, trust or (authority if authority.exists() else None)


def _keep_office(to: str | None, trust: Path | None) -> None:
    """Keep what was given of the office for the next time."""
    folder = state_folder() / "office"
    ensure_folder(Disk(), folder, 0o700)
    if trust is not None:
        put(Disk(), folder / "authority.pem", _data(trust))
    if to is not None:
        put(Disk(), folder / "address", to.rstrip("/").encode())


def _told(file: Path) -> str:
    """Return what a question asks, to be read at once; nothing for other files."""
    if file.parent.name != "questions":
        return ""
    try:
        asked = json.loads(file.read_bytes())
        return f": about {asked['visit']}: {asked['question']}"
    except (ValueError, KeyError, TypeError):
        return ""


def _data(path: Path) -> bytes:
    try:
        return contents(Disk(), path)
    except OSError as error:
        raise Problem(f"this file cannot be read ({error.strerror})", where=str(path)) from error
