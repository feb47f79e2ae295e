"""The supervisor's commands: the desk, replay, report, receive and across."""

from __future__ import annotations

import ipaddress
import json
import secrets
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from handsfree.commands.enrolling import opened_key
from handsfree.desk import wording
from handsfree.desk.dossier import Dossier, open_dossier, seal_words
from handsfree.desk.evidence import AssessedAs
from handsfree.ledger import RecordVerdict, state_folder
from handsfree.office.endorsing import supervisor
from handsfree.office.signatures import KeyHolder
from handsfree.office.verification import known_enrolment
from handsfree.problem import ExitCode, Problem, one_line

app = typer.Typer(help="Supervise visits.", no_args_is_help=True)

_Visit = Annotated[Path, typer.Argument(help="The folder of a visit.")]
_Enrolment = Annotated[
    Path | None, typer.Option(help="The office's enrolment list; this machine's own copy when left out.")
]
_Visits = Annotated[Path, typer.Argument(help="A folder with visits in it, at any depth.")]
_Store = Annotated[
    str | None,
    typer.Option(help="postgresql://USER@HOST/DATABASE that keeps what is examined; else a file of this machine."),
]
_MARKS = {AssessedAs.PASS: ("✓", "green"), AssessedAs.FAIL: ("✕", "red"), AssessedAs.CANNOT_TELL: ("?", "yellow")}

_ALL_ADDRESSES = frozenset({"0.0.0.0", "::", ""})  # noqa: S104 - to tell them from names


@app.command()
def desk(
    folder: _Visits,
    *,
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port; 0 takes a free one.")] = 8470,
    host: Annotated[str, typer.Option(help="The address to listen on; elsewhere than here a token is asked.")] = (
        "127.0.0.1"
    ),
    name: Annotated[list[str] | None, typer.Option(help="A name that browsers may call the desk by.")] = None,
    key: Annotated[
        Path | None, typer.Option(help="Your own key, to sign with; its passphrase is asked for.")
    ] = None,
    passphrase_file: Annotated[
        Path | None, typer.Option(help="A file whose first line is the passphrase.")
    ] = None,
    enrolment: _Enrolment = None,
    tls: Annotated[
        bool, typer.Option("--tls", help="Encrypt, by this machine's own authority; browsers must trust it.")
    ] = False,
    store: _Store = None,
    sign_in: Annotated[
        bool,
        typer.Option(
            "--sign-in", help="Let supervisors sign in by passkey; each sees the offices that the list names."
        ),
    ] = False,
    outgoing: Annotated[
        Path | None,
        typer.Option(
            help="What is to go to devices by itself: FOLDER/TABLET/jobs, FOLDER/all/procedures and so on."
        ),
    ] = None,
    hear_again: Annotated[
        bool, typer.Option("--hear-again/--no-hear-again", help="Hear new visits again in the background.")
    ] = True,
    alert_command: Annotated[
        str,
        typer.Option(
            "--alert-command",
            help="Run at once for each hazard left behind: a command of this machine, given who, number, text.",
        ),
    ] = "",
    alert_to: Annotated[str, typer.Option("--alert-to", help="Who is to be told by it.")] = "the office",
    alert_number: Annotated[str, typer.Option("--alert-number", help="Their number.")] = "",
) -> None:
    """Open the supervisor's pages over a folder of visits."""
    if not folder.is_dir():
        raise Problem("there is no such folder", where=str(folder))
    try:
        from handsfree.api.site import ApiSite, WithApi  # noqa: PLC0415
        from handsfree.api.tokens import ApiTokens  # noqa: PLC0415
        from handsfree.api.webhooks import Webhooks  # noqa: PLC0415
        from handsfree.desk.access_log import NAME as ACCESS_LOG  # noqa: PLC0415
        from handsfree.desk.access_log import AccessLog  # noqa: PLC0415
        from handsfree.desk.alerting import AlertChannel, HazardAlerts  # noqa: PLC0415 - the extra `desk`
        from handsfree.desk.checker import Checker, Errand  # noqa: PLC0415
        from handsfree.desk.guard import LOOPBACK, Door, EncryptedOnly  # noqa: PLC0415
        from handsfree.desk.hearing_again import HearingAgain  # noqa: PLC0415
        from handsfree.desk.index import Index  # noqa: PLC0415
        from handsfree.desk.signing_in import SignedInDesks  # noqa: PLC0415
        from handsfree.desk.site import Desk  # noqa: PLC0415
        from handsfree.handover.office_site import dispatch_of, office_tls  # noqa: PLC0415
        from handsfree.serving import Server, listen  # noqa: PLC0415
        from handsfree.store.opening import open_store  # noqa: PLC0415
    except ImportError as error:
        raise Problem(f"the desk needs {error.name}", remedy="pip install 'handsfree[desk]'") from error
    open_to_all = not _is_loopback(host)
    if open_to_all and not tls:
        raise Problem("over a network the desk answers only encrypted", where=host, remedy="add --tls")
    if sign_in and key is not None:
        raise Problem("a desk that people sign in to signs with no key of its own", where="--key",
                      remedy="leave out --key or --sign-in")  # fmt: skip
    token = secrets.token_urlsafe(24) if open_to_all and not sign_in else None
    door = Door(hosts=LOOPBACK | {host} | set(name or ()), token=token)
    signer = None if key is None else KeyHolder(opened_key(key, passphrase_file))
    index = Index(folder, enrolment=enrolment, store=None if store is None else open_store(store))
    seen = index.within(_offices_of(signer, enrolment))
    names = [*(name or ()), *([host] if host not in _ALL_ADDRESSES else [])]
    server = Server(listen(host, port), tls=office_tls(state_folder(), names) if tls else None)
    called = "localhost" if host in LOOPBACK else f"[{host}]" if ":" in host else host  # passkeys need a name
    where = f"{'https' if tls else 'http'}://{called}:{server.port}/"
    typer.echo(where + (f"enter?token={token}" if token else ""))
    hearing = HearingAgain(index) if hear_again else None
    channel = AlertChannel(alert_command, alert_to, alert_number)
    errands: list[Errand] = [HazardAlerts(index, channel)] if alert_command else []
    errands += dispatch_of(index, state_folder(), outgoing)
    hooks = Webhooks(state_folder())
    index.changed = hooks.notice
    hooks.start(index.store)
    beside = Checker(index, errands=errands), hearing
    pages = (
        SignedInDesks(index, door, beside, outgoing).application()
        if sign_in
        else Desk(seen, door, signer, outgoing=outgoing).application(*beside)
    )
    site = WithApi(pages, ApiSite(index.store, ApiTokens(state_folder())).application())
    server.run(AccessLog(EncryptedOnly(site), state_folder() / ACCESS_LOG) if open_to_all else site)


def _offices_of(signer: KeyHolder | None, enrolment: Path | None) -> tuple[str, ...] | None:
    """Return the offices that the desk's own key looks after by the list; all, None, where it names none.

    Without a key, or a list, nobody says whose they are: all. Problem for a key that is no supervisor's now.
    """
    listed = known_enrolment(enrolment) if signer else None
    return supervisor(listed, signer.key).offices if listed and signer else None


def _is_loopback(host: str) -> bool:
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


@app.command()
def replay(
    folder: _Visit,
    *,
    talk: Annotated[bool, typer.Option("--talk/--no-talk", help="Tell the talk line by line.")] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    enrolment: _Enrolment = None,
) -> None:
    """Tell a visit again: how it ended, what a supervisor verifies, and who said what."""
    dossier = open_dossier(folder, enrolment=enrolment)
    if as_json:
        typer.echo(json.dumps(_as_json(dossier, talk=talk), indent=1, ensure_ascii=False))
    else:
        _tell(dossier, Console(highlight=False), talk=talk)
    if dossier.report.verdict == RecordVerdict.BROKEN:
        raise typer.Exit(ExitCode.FAILED)


def _tell(dossier: Dossier, console: Console, *, talk: bool) -> None:
    recorded = dossier.evidence.recorded
    console.print(
        Text(f"{recorded.opened.appliance} {recorded.opened.serial}, {recorded.opened.day}", style="bold")
    )
    console.print(Text(dossier.sentence))
    console.print(Text(f"{seal_words(dossier.report.verdict.value)}: {dossier.report.sentence}"))
    if dossier.report.anchor is not None:
        console.print(Text(dossier.report.anchor.says))
    if len(dossier.measured) > 1:
        console.print(_measured(dossier))
    for notable in dossier.notables:
        console.print(Text(f"{notable.kind:17}{wording.clock(notable.at):>8}  {notable.says}"))
    for line in dossier.judged:
        console.print(Text(f"\n{line.line}: {line.result}", style="bold"))
        for item in line.items:
            mark, colour = _MARKS[item.finding.result]
            told = f"  {mark} {item.finding.result:11} "
            console.print(Text(told, style=colour) + Text(f"{item.says}: {item.finding.why}", style="default"))
    if talk:
        console.print()
        for said in dossier.talk:
            notes = f"  [{' · '.join(said.notes)}]" if said.notes else ""
            console.print(Text(f"{wording.clock(said.at):>8}  {said.who:6}  {said.text}{notes}"))


def _measured(dossier: Dossier) -> Table:
    heads, *rows = dossier.measured
    table = Table(*heads)
    for row in rows:
        table.add_row(*row)
    return table


def _as_json(dossier: Dossier, *, talk: bool) -> dict[str, Any]:
    return {
        "outcome": dossier.sentence,
        "seal": dossier.report.as_json(),
        "list": [
            {
                "line": line.line,
                "result": line.result.value,
                "items": [
                    {
                        "says": item.says,
                        "result": item.finding.result.value,
                        "why": item.finding.why,
                        "entry": item.finding.seq,
                    }
                    for item in line.items
                ],
            }
            for line in dossier.judged
        ],
        "first": [{"kind": each.kind, "says": each.says, "entry": each.seq} for each in dossier.notables],
        "talk": [
            {"entry": each.seq, "at_ms": each.at, "who": each.who, "text": each.text, "notes": each.notes}
            for each in dossier.talk
        ]
        if talk
        else [],
        "sign_offs": [vars(each) for each in dossier.sign_offs],
    }


@app.command()
def report(
    folder: _Visit,
    output: Annotated[Path, typer.Option("--output", "-o", help="Where to write it: a .pdf or an .html file.")],
) -> None:
    """Write the customer's report of a visit."""
    try:
        from handsfree.desk import printed  # noqa: PLC0415 - the extra `desk`
    except ImportError as error:
        raise Problem(f"the report needs {error.name}", remedy="pip install 'handsfree[desk]'") from error
    ending = output.suffix.lower()
    if ending not in {".pdf", ".html"}:
        raise Problem("a report is a .pdf or an .html file", where=str(output))
    _refuse_taken(output)
    dossier = open_dossier(folder)
    content = printed.pdf(dossier) if ending == ".pdf" else printed.html(dossier).encode()
    _write_new(output, content, "the report")
    typer.echo(f"{output}: {dossier.sentence}")
    if dossier.report.verdict == RecordVerdict.BROKEN:
        typer.echo(f"The record does not verify: {dossier.report.sentence}", err=True)
        raise typer.Exit(ExitCode.FAILED)


def _refuse_odd(folder: Path, into: Path | None) -> None:
    if not folder.is_dir():
        raise Problem("there is no such folder", where=str(folder))
    _refuse_taken(into)


def _refuse_taken(file: Path | None) -> None:
    if file is not None and file.exists():
        raise Problem("this file exists already", where=str(file), remedy="name a new one")


def _write_new(file: Path, content: bytes, what: str) -> None:
    try:
        file.write_bytes(content)
    except OSError as error:
        raise Problem(f"{what} cannot be written ({error.strerror})", where=str(file)) from error


@app.command()
def receive(
    source: Annotated[Path, typer.Argument(help="The stick or share that holds visits.")],
    into: Annotated[Path, typer.Argument(help="The folder of visits to take them into.")],
) -> None:
    """Take visits in: each verified on arrival, none overwritten, those already here recognised."""
    from handsfree.desk.receiving import Fate  # noqa: PLC0415
    from handsfree.desk.receiving import receive as arrivals  # noqa: PLC0415

    bad = 0
    for arrival in arrivals(source, into):
        bad += arrival.fate in {Fate.FAULTY, Fate.REFUSED, Fate.DIFFERENT}
        typer.echo(
            one_line(f"{arrival.source}: {arrival.fate}{f' as {arrival.folder}' if arrival.folder else ''}")
        )
        typer.echo(one_line(f"  {arrival.sentence}"))
    if bad:
        raise typer.Exit(ExitCode.FAILED)


@app.command()
def across(
    folder: _Visits,
    question: Annotated[str, typer.Argument(help="Which question; all their names without one.")] = "",
    *,
    store: _Store = None,
    office: Annotated[list[str] | None, typer.Option(help="Of the visits of these offices alone.")] = None,
    parquet: Annotated[Path | None, typer.Option(help="Write the answer there as Apache Parquet.")] = None,
) -> None:
    """Ask a question across all visits of a folder; the answer is CSV, or a file of Parquet."""
    try:
        from handsfree.desk.examination import examine  # noqa: PLC0415
        from handsfree.desk.index import Index  # noqa: PLC0415
        from handsfree.desk.questions import QUESTIONS, answer  # noqa: PLC0415 - the extra `desk`
        from handsfree.store.opening import open_store  # noqa: PLC0415
    except ImportError as error:
        raise Problem(f"questions need {error.name}", remedy="pip install 'handsfree[desk]'") from error
    _refuse_odd(folder, parquet)
    if not question:
        for each in QUESTIONS.values():
            typer.echo(f"{each.name}: {each.means}")
        return
    if question not in QUESTIONS:
        raise Problem(f"there is no question {question!r}", remedy=f"one of: {', '.join(QUESTIONS)}")
    index = Index(folder, store=None if store is None else open_store(store))
    index.scan()
    while waiting := index.unchecked():
        for key, visit in waiting:
            index.keep(key, examine(visit))
    seen = index.store.within(office)
    found = answer(seen, QUESTIONS[question])
    if parquet is None:
        typer.echo(found.csv(), nl=False)
    else:
        _write_new(parquet, found.parquet(), "the answer")
    if broken := seen.count_broken():
        typer.echo(f"Broken records left out: {broken}", err=True)
