"""The certificate of this device for the page on a phone: what it is, how a phone takes it in, a new one."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from handsfree.glance.authority import Authority, own_names
from handsfree.glance.web import own_address

app = typer.Typer(help="The page for a phone.")


@app.command()
def phone(
    *,
    renew: Annotated[
        bool,
        typer.Option("--renew", help="Make a new one, for this device's present address: phones lose the old."),
    ] = False,
    address: Annotated[
        list[str] | None, typer.Option("--address", help="With --renew: a further address or name it serves at.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for a machine to read.")] = False,
) -> None:
    """Tell the certificate that a phone takes in once, so that the page on it is encrypted."""
    authority = Authority.of_device(own_names(own_address(), *(address or ())), renew=renew)
    told = {
        "sha256": authority.fingerprint,
        "names": authority.names(),
        "until": authority.until.isoformat(),
    }
    if as_json:
        typer.echo(json.dumps(told))
        return
    typer.echo(f"SHA-256  {authority.fingerprint}")
    typer.echo(f"For      {', '.join(authority.names())}")
    typer.echo(f"Until    {authority.until.isoformat()}")
    typer.echo(
        "\nOnce on each phone: start a visit with --glance-web, open its http address on the phone, take the "
        "certificate,\ncompare the SHA-256 that the phone shows with the one above, and let the phone trust it "
        "(in its settings,\nas a certificate authority). It can vouch for no other address than these."
    )
