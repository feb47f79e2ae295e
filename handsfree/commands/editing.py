"""The language server that an editor starts."""

from __future__ import annotations

import typer

from handsfree.problem import Problem

app = typer.Typer(help="For editors.")


@app.command("language-server")
def serve_language() -> None:
    """Tell an editor what `check` finds, what may stand where, and what it means: on its standard streams."""
    try:
        from handsfree.editor.server import language_server  # noqa: PLC0415 - optional
    except ImportError as error:
        what = f"the language server needs a package that is not installed: {error.name}"
        raise Problem(what, remedy="pip install 'handsfree[editor]'") from error
    language_server().start_io()
