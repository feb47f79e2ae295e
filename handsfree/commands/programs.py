"""What other programs may read, and what they are told: tokens and webhooks."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from handsfree.api.tokens import ApiTokens, TokenScope
from handsfree.api.webhooks import WebhookEvent, Webhooks
from handsfree.ledger import state_folder
from handsfree.problem import Problem, one_line

app = typer.Typer(help="Other programs.")
_api = typer.Typer(help="Let other programs read: token, revoke, list; tell them: hook, unhook; describe.")
app.add_typer(_api, name="api")

_Name = Annotated[str, typer.Argument(help="Its name, to be found and ended by.")]


@_api.command()
def token(
    name: _Name,
    *,
    scope: Annotated[list[str] | None, typer.Option(help="visits, hazards, calendar; may be given again.")] = None,
    office: Annotated[
        list[str] | None, typer.Option(help="Only this office's visits; may be given again.")
    ] = None,
) -> None:
    """Make a token for a program that reads; it is shown this once, and only its hash is kept."""
    if unknown := set(scope or ()) - set(TokenScope):
        raise Problem(f"there is no scope {min(unknown)!r}", remedy=f"one of: {', '.join(TokenScope)}")
    typer.echo(ApiTokens(state_folder()).make(name, [TokenScope(each) for each in scope or ()], office))


@_api.command()
def revoke(name: _Name) -> None:
    """End a token at once."""
    ApiTokens(state_folder()).revoke(name)


@_api.command(name="list")
def listed() -> None:
    """List the tokens and the programs that are told."""
    for each in ApiTokens(state_folder()).all():
        where = "all offices" if each.offices is None else ", ".join(each.offices)
        stands = f"revoked {each.revoked}" if each.revoked else "stands"
        typer.echo(one_line(f"token {each.name}: {', '.join(each.scopes)}; {where}; made {each.made}; {stands}"))
    for hook in Webhooks(state_folder()).all():
        fault = f" ({hook.fault})" if hook.fault else ""
        typer.echo(
            one_line(f"hook {hook.name}: {', '.join(hook.events)} to {hook.url}; {hook.waiting} wait{fault}")
        )


@_api.command()
def hook(
    name: _Name,
    url: Annotated[str, typer.Argument(help="Where to tell it, https.")],
    *,
    event: Annotated[list[str] | None, typer.Option(help="closed, stopped, signed; all when left out.")] = None,
) -> None:
    """Tell a program of visits that closed, stopped or were signed; prints the secret that signs it."""
    if unknown := set(event or ()) - set(WebhookEvent):
        raise Problem(f"there is no event {min(unknown)!r}", remedy=f"one of: {', '.join(WebhookEvent)}")
    events = [WebhookEvent(each) for each in event or list(WebhookEvent)]
    typer.echo(Webhooks(state_folder()).add(name, url, events))


@_api.command()
def unhook(name: _Name) -> None:
    """Tell a program nothing more."""
    Webhooks(state_folder()).remove(name)


@_api.command()
def describe() -> None:
    """Print the OpenAPI description of what programs may read."""
    from handsfree.api.described import description  # noqa: PLC0415

    typer.echo(json.dumps(description(), indent=1))
