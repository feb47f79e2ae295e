"""The customer's page: written when a visit closes, written again, handed to a phone by a link that works once."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from handsfree.commands.showing import code
from handsfree.doorway import tls_context
from handsfree.glance.authority import Authority, ServerIdentity, own_names
from handsfree.glance.paper_link import LASTS_S, PaperLink
from handsfree.glance.site import LIMITS
from handsfree.glance.web import own_address, place_of
from handsfree.problem import Problem
from handsfree.serving import Server, listen

app = typer.Typer(help="The customer's page.")

LOOK_S = 0.2


@app.command()
def paper(
    folder: Annotated[Path, typer.Argument(help="The folder of a visit.")],
    *,
    hand_over: Annotated[
        str | None,
        typer.Option(
            "--hand-over",
            metavar="ADDRESS:PORT",
            help="Hand it to a phone by a link that works once and for ten minutes: 0.0.0.0:8750.",
        ),
    ] = None,
) -> None:
    """Write the customer's page of a visit as PDF, and hand it to a phone by a link that works once."""
    from handsfree.desk.customer_pdf import write_customers_page  # noqa: PLC0415 - only when a page is written

    file = write_customers_page(folder)
    typer.echo(str(file))
    if hand_over is not None:
        hand_to_phone(file, hand_over)


def customers_page_of(folder: Path, tell: Callable[[str], None]) -> Path | None:
    """Write the customer's page of a visit that has closed, and tell where; a fault is told."""
    from handsfree.desk.customer_pdf import write_customers_page  # noqa: PLC0415 - only when a page is written

    try:
        file = write_customers_page(folder)
    except Problem as problem:
        tell(f"{problem.sentence()} Again: handsfree paper {folder}")
        return None
    tell(f"The customer's page: {file}")
    return file


def hand_to_phone(file: Path, address: str) -> bool:
    """Serve one file to the first who opens its link; return whether that happened within ten minutes."""
    host, port = place_of(address)
    shown = own_address() if host in {"", "0.0.0.0"} else host  # noqa: S104 - compared, not bound
    identity = _identity(shown)
    link = PaperLink(file.read_bytes(), file.name)
    tls = None if identity is None else tls_context(identity.chain, identity.key)
    with Server(listen(host, port), LIMITS, tls) as server:
        server.start(link.application())
        for line in _lines(link, f"{shown}:{server.port}", encrypted=identity is not None):
            sys.stderr.write(f"  {line}\n")
        sys.stderr.flush()
        while link.left_s and not link.taken.wait(LOOK_S):
            pass
        if link.taken.is_set():
            time.sleep(LOOK_S)  # the answer goes out; the server waits for the rest of it
    sys.stderr.write(
        "  The page was handed over.\n" if link.taken.is_set() else "  The link is over; nobody took it.\n"
    )
    return link.taken.is_set()


def _identity(shown: str) -> ServerIdentity | None:
    """Return what the link proves itself with, where the device's certificate covers the address."""
    names = own_names(shown, own_address())
    try:
        authority = Authority.of_device(names)
    except Problem:
        return None
    return authority.identity_for(names) if authority.covers(shown) else None


def _lines(link: PaperLink, place: str, *, encrypted: bool) -> list[str]:
    """Return the link as it is told; a phone without the device's certificate takes the second one."""
    minutes = round(LASTS_S / 60)
    open_ = f"http://{place}/{link.path}"
    told = f"The customer's page, once, for {minutes} minutes (Ctrl-C ends it):"
    if not encrypted:
        return [f"{told} not encrypted", *(code(open_) or [open_])]
    own = f"https://{place}/{link.path}"
    return [told, *(code(own) or [own]), f"On a phone without this device's certificate, not encrypted: {open_}"]
