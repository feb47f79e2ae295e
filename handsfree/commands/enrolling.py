"""The office's enrolment list: make its key, enrol devices and people, revoke, list, hand on."""

from __future__ import annotations

import getpass
import json
from pathlib import Path
from typing import Annotated

import typer

from handsfree.ledger import DeviceKey, state_folder
from handsfree.ledger.clock import milliseconds
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.enrolling import add as add_key
from handsfree.office.enrolling import begin as begin_list
from handsfree.office.enrolling import revoke as revoke_key
from handsfree.office.enrolling import take_over
from handsfree.office.enrolment import NAME, EnrolledKey, Enrolment, Passkey, Role, list_lines, read_enrolment
from handsfree.office.kept_key import KeptKey, is_encrypted, make_key, open_key
from handsfree.problem import ExitCode, Problem, one_line

app = typer.Typer(help="The office's enrolment list.")
_enrol = typer.Typer(invoke_without_command=True)
app.add_typer(_enrol, name="enrol")

_Office = Annotated[Path | None, typer.Option("--office-key", help="The office's key file; in the state folder.")]
_List = Annotated[Path | None, typer.Option("--list", help="The list; the state folder's when left out.")]
_PassphraseFile = Annotated[
    Path | None, typer.Option(help="A file whose first line is the passphrase; else it is asked for.")
]
_When = Annotated[
    str | None, typer.Option("--from", help="From when: a day, or a time to the millisecond in UTC.")
]


@_enrol.callback()
def enrol(
    context: typer.Context,
    *,
    own: Annotated[bool, typer.Option("--self", help="Begin this machine's own list with its device.")] = False,
    author: Annotated[
        str | None, typer.Option("--author", help="With --self: who approves procedures on this machine alone.")
    ] = None,
) -> None:
    """Keep the list of enrolled devices and people: begin, add, revoke, list, export, import, key."""
    if own:
        _begin_own(author)
    elif author is not None:
        raise Problem("--author belongs to --self", remedy="else enrol one: handsfree enrol add author NAME KEY")
    elif context.invoked_subcommand is None:
        typer.echo(context.get_help())
        raise typer.Exit(ExitCode.BAD_INPUT)


OWN_AUTHOR = "own-author.pem"
"""The key of a machine's own author, in the state folder, without a passphrase."""


def _begin_own(author: str | None) -> None:
    """Begin the own list, or add an author to the one that is there."""
    state = state_folder()
    path, key = state / NAME, state / "own-list.pem"
    office = open_key(key, None) if key.exists() else make_key(key, None)
    if author is None or not path.exists():
        begin_list(path, office, "this machine", own=True)
        device = DeviceKey(state).public_key()
        add_key(path, office, key=device, name="this device", role=Role.DEVICE, valid_from=BEFORE_THE_PROGRAM)
        typer.echo(f"own list: {path}, with this device, {device}")
    if author is not None:
        public = make_key(state / OWN_AUTHOR, None).public
        add_key(path, office, key=public, name=author, role=Role.AUTHOR)
        typer.echo(one_line(f"own author: {author}, {public}"))
    typer.echo("Nobody else vouches for an own list; an office begins its own with: handsfree enrol begin")


@_enrol.command()
def begin(
    name: Annotated[str, typer.Argument(help="The office's name.")],
    *,
    enrolment: _List = None,
    office_key: _Office = None,
    passphrase_file: _PassphraseFile = None,
) -> None:
    """Make the office's key, kept under a passphrase, and begin its list."""
    path, key = _list(enrolment), _office(office_key)
    if path.exists():
        raise Problem("there is an enrolment list already", where=str(path), remedy="add to it, or name another")
    office = make_key(key, passphrase(passphrase_file, new=True))
    begin_list(path, office, name)
    typer.echo(f"The list of {name} is begun: {path}")
    typer.echo(f"The office's key: {office.public}, kept in {key}. Keep a copy of that file and its passphrase.")


@_enrol.command()
def key(
    file: Annotated[Path, typer.Argument(help="A new file for the key.")],
    *,
    passphrase_file: _PassphraseFile = None,
) -> None:
    """Make a person's own key, kept under a passphrase, and print its public key for the office."""
    typer.echo(make_key(file, passphrase(passphrase_file, new=True)).public)


@_enrol.command()
def add(
    role: Annotated[Role, typer.Argument(help="What the key is for.")],
    name: Annotated[str, typer.Argument(help="The person's or the device's name, as records will show it.")],
    public_key: Annotated[str, typer.Argument(help="The public key: 64 hex digits, or its file.")],
    *,
    office: Annotated[
        list[str] | None,
        typer.Option(
            "--office", help="A supervisor sees visits of these alone; a device's are laid into this one."
        ),
    ] = None,
    valid_from: _When = None,
    enrolment: _List = None,
    office_key: _Office = None,
    passphrase_file: _PassphraseFile = None,
) -> None:
    """Enrol a key. A person's counts from now on, a device's also for the visits it made before."""
    given, passkey = key_given(public_key)
    began = BEFORE_THE_PROGRAM if role is Role.DEVICE and valid_from is None else _time(valid_from)
    path, keeper = _opened(enrolment, office_key, passphrase_file)
    enrolled = add_key(
        path, keeper, key=given, name=name, role=role, passkey=passkey, offices=office or (), valid_from=began
    )
    typer.echo(one_line(_told(enrolled)))


@_enrol.command()
def revoke(
    who: Annotated[str, typer.Argument(help="The public key, or the name when it has one key.")],
    *,
    why: Annotated[str, typer.Option(help="Why: lost, stolen, left.")],
    valid_until: _When = None,
    enrolment: _List = None,
    office_key: _Office = None,
    passphrase_file: _PassphraseFile = None,
) -> None:
    """Revoke a key from a time on; what it signed before stands."""
    path = _list(enrolment)
    found = _who(read_enrolment(path), who)
    path, office = _opened(enrolment, office_key, passphrase_file)
    typer.echo(one_line(_told(revoke_key(path, office, key=found.key, why=why, valid_until=_time(valid_until)))))


@_enrol.command("list")
def list_command(
    *,
    enrolment: _List = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Show everybody on the list, whose list it is, and its count and checksum."""
    found = read_enrolment(_list(enrolment))
    if as_json:
        keys = [
            {"key": each.key, "name": each.name, "role": each.role.value, "valid_from": each.valid_from}
            | {"valid_until": each.valid_until, "why": each.why, "passkey": each.passkey is not None}
            for each in found.keys.values()
        ]
        head = {"count": found.head.count, "digest": found.head.digest, "checksum": found.head.checksum}
        office = {"name": found.office, "key": found.office_key, "own": found.own}
        typer.echo(json.dumps({"office": office, **head, "keys": keys}, indent=1))
        return
    whose = "own list of a machine" if found.own else f"list of {found.office}"
    typer.echo(one_line(f"{found.where}: {whose}, signed by {found.office_key}"))
    typer.echo(f"  {found.head.count} lines, checksum {found.head.checksum}")
    for each in found.keys.values():
        typer.echo(one_line(f"  {_told(each)}"))


@_enrol.command()
def export(
    file: Annotated[Path, typer.Argument(help="A new file for the copy.")], *, enrolment: _List = None
) -> None:
    """Copy the list, to be handed to whoever verifies records."""
    if file.exists():
        raise Problem("this file exists already", where=str(file), remedy="name a new one")
    path = _list(enrolment)
    found = read_enrolment(path)
    try:
        file.write_bytes(b"".join(line + b"\n" for line in list_lines(path)))
    except OSError as error:
        raise Problem(f"the list cannot be written ({error.strerror})", where=str(file)) from error
    typer.echo(f"{file}: {found.head.count} lines, checksum {found.head.checksum}")


@_enrol.command("import")
def import_command(
    file: Annotated[Path, typer.Argument(help="The list as the office handed it on.")], *, enrolment: _List = None
) -> None:
    """Take the office's list over; one that does not go on from the list here is refused."""
    found = take_over(file, _list(enrolment))
    typer.echo(one_line(f"the list of {found.office}, signed by {found.office_key}: {found.head.count} lines"))


def passphrase(file: Path | None, *, new: bool = False) -> str:
    """Return the passphrase from a file's first line, else from the terminal, where it is not shown."""
    if file is None:
        text = getpass.getpass("Passphrase: ")
        if new and getpass.getpass("Again: ") != text:
            raise Problem("the two passphrases differ", remedy="begin again")
        return text
    try:
        return file.read_text("utf-8").split("\n")[0]
    except (OSError, UnicodeDecodeError) as error:
        raise Problem("this passphrase file cannot be read", where=str(file)) from error


def opened_key(path: Path, passphrase_file: Path | None) -> KeptKey:
    """Return the key in a file, its passphrase asked for where it needs one."""
    return open_key(path, passphrase(passphrase_file) if is_encrypted(path) else None)


def key_given(text: str) -> tuple[str, Passkey | None]:
    """Return a public key from its digits or from a file of them, with the passkey where the file holds one."""
    path = Path(text)
    try:
        content = path.read_text("utf-8") if path.is_file() else text
        if content.lstrip().startswith("{"):
            members = json.loads(content)
            return members["key"], Passkey(**{name: str(value) for name, value in members["passkey"].items()})
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise Problem("this holds no public key and no passkey", where=text) from error
    digits = content.strip().lower()
    if not is_digest(digits):
        raise Problem("a public key is 64 hex digits", where=text[:80])
    return digits, None


def _list(given: Path | None) -> Path:
    return given or state_folder() / NAME


def _office(given: Path | None) -> Path:
    return given or state_folder() / "office.pem"


def _opened(enrolment: Path | None, office_key: Path | None, passphrase_file: Path | None) -> tuple[Path, KeptKey]:
    path = _list(enrolment)
    if office_key is None and read_enrolment(path).own:
        return path, open_key(state_folder() / "own-list.pem", None)
    return path, opened_key(_office(office_key), passphrase_file)


def _who(found: Enrolment, who: str) -> EnrolledKey:
    named = [each for each in found.keys.values() if who in {each.key, each.name}]
    standing = [each for each in named if not each.valid_until] or named
    if len(standing) == 1:
        return standing[0]
    raise Problem(
        f"{who!r} is on the list {'more than once' if standing else 'nowhere'}",
        where=found.where,
        remedy="give the public key; look at: handsfree enrol list",
    )


def _time(text: str | None) -> str | None:
    """Return a day or a time as the list has it."""
    if text is None:
        return None
    full = f"{text}T00:00:00.000Z" if len(text) == 10 else text
    try:
        milliseconds(full)
    except ValueError as error:
        raise Problem(f"{text!r} is no day and no time", remedy="write it like 2026-01-31") from error
    return full


def _told(each: EnrolledKey) -> str:
    until = f", revoked from {each.valid_until} on ({each.why})" if each.valid_until else ""
    how = " by passkey" if each.passkey else ""
    return f"{each.role} {each.name}{how}: {each.key}, from {each.valid_from}{until}"
