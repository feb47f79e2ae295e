"""Erasing a person's data: from the records of a device or an office, and from all that was made from them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from handsfree.commands.enrolling import opened_key
from handsfree.ledger import read, state_folder
from handsfree.ledger.visit import visits_beneath
from handsfree.office.endorsing import merge
from handsfree.office.enrolment import Enrolment
from handsfree.office.erasing import Erased, PersonsData, carry_out, data_of, erase
from handsfree.office.signatures import KeyHolder
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem, one_line

app = typer.Typer(help="Erasing personal data.")


@app.command("erase")
def erase_command(
    record: Annotated[Path, typer.Argument(help="A visit's folder, or one with visits beneath it.")],
    *,
    person: Annotated[
        str, typer.Option(help="Whose data: technician, second person, customer, or a name as on the job sheet.")
    ] = "",
    reason: Annotated[str, typer.Option(help="Why; it is signed and kept, so name nobody in it.")] = "",
    key: Annotated[Path | None, typer.Option(help="Your own key, enrolled as a supervisor's.")] = None,
    enrolment: Annotated[
        Path | None, typer.Option(help="The office's enrolment list; this machine's own copy when left out.")
    ] = None,
    passphrase_file: Annotated[
        Path | None, typer.Option(help="A file whose first line is the passphrase.")
    ] = None,
    store: Annotated[str, typer.Option(help="The desks' PostgreSQL store, where they share one.")] = "",
    objects: Annotated[str, typer.Option(help="The folder or bucket in which visits are kept as objects.")] = "",
) -> None:
    """Erase a person's data from records and all that was made from them; the records still verify.

    Without --person nothing is signed: what was signed to be erased on another copy is erased here, too.
    """
    if not record.is_dir():
        raise Problem("there is no such folder", where=str(record))
    listed = known_enrolment(enrolment)
    folders = list(visits_beneath(record))
    if not folders:
        raise Problem("there is no visit under this folder", where=str(record))
    if not person:
        done, fault = _each(folders, lambda folder: carry_out(folder, listed) > 0)
        typer.echo(f"what was signed to be erased is gone from {len(done)} of {len(folders)} visits")
    else:
        if key is None or not reason.strip():
            raise Problem("an erasure is signed and says why", remedy="give --key and --reason")
        signer = KeyHolder(opened_key(key, passphrase_file))
        carried, names = _commitments(folders, person), {person}
        done, fault = _each(
            folders,
            lambda folder: _erased(
                folder, data_of(folder, person, carried=carried), signer, listed, reason, names
            ),
        )
        _voices(names)
        if not done and fault is None:
            raise Problem(f"no record here holds anything of {person}", where=str(record),
                          remedy="name a role, or the name as on the job sheet; to go on with what was signed "
                                 "before, leave --person out")  # fmt: skip
    for folder in done:
        _paper_anew(folder)
    _stores(record, done, store)
    _messages(done)
    if objects:
        _objects(objects, done, listed)
    if fault is not None:
        raise fault


def _each(folders: Sequence[Path], act: Callable[[Path], bool]) -> tuple[list[Path], Problem | None]:
    """Return where something was done, and the last that failed: one damaged record keeps no other from it."""
    done, fault = [], None
    for folder in folders:
        try:
            if act(folder):
                done.append(folder)
        except Problem as problem:
            if fault is not None:
                typer.echo(fault.sentence())
            fault = problem
    return done, fault


def _commitments(folders: Sequence[Path], person: str) -> frozenset[str]:
    """Return what the records commit to of a person: words of theirs may be carried into other records."""
    found: set[str] = set()
    for folder in folders:
        with suppress(Problem):  # told when its turn comes
            data = data_of(folder, person)
            found |= {one.commitment for one in data.pieces} if data is not None else set()
    return frozenset(found)


def _erased(  # noqa: PLR0917 - what one signed erasure needs
    folder: Path,
    data: PersonsData | None,
    signer: KeyHolder,
    listed: Enrolment | None,
    why: str,
    names: set[str],
) -> bool:
    if data is not None:
        names.update(data.names)
        _tell(erase(folder, data, signer, listed, reason=why))
    return data is not None


def _tell(erased: Erased) -> None:
    typer.echo(one_line(f"{erased.folder}: {erased.pieces} pieces and {erased.sounds} sounds are erased"))
    if erased.still_named:
        still = f"in {erased.still_named} entries the name stands in clear words; these are sealed and stay"
        typer.echo(one_line(f"{erased.folder}: {still}"))
    if erased.other_sounds:
        still = (
            f"{erased.other_sounds} sounds stay: this voice may be in them, too; --person technician erases them"
        )
        typer.echo(one_line(f"{erased.folder}: {still}"))


def _paper_anew(folder: Path) -> None:
    """Write the customer's page again where there is one: the old one names the person."""
    from handsfree.desk.customer_pdf import NAME, write_customers_page  # noqa: PLC0415 - only where there is one

    if (folder / NAME).exists():
        (folder / NAME).unlink()
        write_customers_page(folder)
        typer.echo(one_line(f"{folder / NAME}: written anew"))


def _objects(place: str, done: Sequence[Path], listed: Enrolment | None) -> None:
    from handsfree.objects.keeping import keep_erased  # noqa: PLC0415 - only where there are objects
    from handsfree.objects.opening import object_store_of  # noqa: PLC0415

    def clean(laid_out: Path, folder: Path) -> None:
        merge(laid_out, folder)
        carry_out(laid_out, listed)

    visits = {next(iter(read(folder))).digest: folder for folder in done}
    gone = keep_erased(object_store_of(place), visits, clean)
    typer.echo(f"{len(gone)} objects were kept anew without it, and the old ones deleted")


def _voices(names: set[str]) -> None:
    """Delete what these people have enrolled of their voices on this device."""
    from handsfree.hearing.enrolment.keeping import Voices  # noqa: PLC0415 - only where somebody is erased

    gone = sum(Voices(state_folder()).forget(name) for name in names)
    if gone:
        typer.echo(f"enrolments of this voice deleted from this device: {gone}")


def _messages(done: Sequence[Path]) -> None:
    """Take names out of what waits to be told to other programs, or could not be told."""
    from handsfree.api.webhooks import FILE, Webhooks  # noqa: PLC0415 - only where there are any

    if (state_folder() / FILE).exists():
        told = Webhooks(state_folder()).forget({next(iter(read(folder))).digest for folder in done})
        typer.echo(f"{told} messages to other programs name nobody now")


def _stores(record: Path, done: Sequence[Path], address: str) -> None:
    """Let every store forget the visits: the desk of this folder and of those above it, and the one named."""
    from handsfree.desk.index import Index, embedded_file, key_of  # noqa: PLC0415 - slow to load
    from handsfree.store.opening import open_store  # noqa: PLC0415

    roots = [record.resolve(), *record.resolve().parents]
    indexes = [Index(root) for root in roots if embedded_file(root).exists()]
    indexes += [Index(record, store=open_store(address))] if address else []
    for index in indexes:
        # Which of the folders the desks that share a store show, this machine does not know.
        above = roots if address and index is indexes[-1] else [index.root]
        keys = {key_of(str(folder.resolve().relative_to(root))) for folder in done for root in above}
        whole = index.store.erase(keys)
        index.store.close()
        typer.echo(one_line(f"the desk of {index.root} has forgotten {len(done)} visits; it reads them again"))
        if not whole:
            typer.echo("a desk is reading just now: end it, and run this again without --person")
    if not indexes:
        typer.echo(
            "no desk's store of these visits is known here: where one is kept, run this there, without --person, "
            "with the desk's own XDG_CACHE_HOME and HANDSFREE_STATE"
        )
