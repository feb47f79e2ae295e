"""The language server as an editor meets it: a real client starts it and speaks with it over its standard streams.

The client is that of pygls; the protocol is the Language Server Protocol 3.17.
"""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import sys
from pathlib import Path

import pytest
from lsprotocol import types as lsp
from pygls.lsp.client import LanguageClient
from pygls.workspace import Workspace
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.editor.server import ProcedureServer, language_server

ROOT = Path(__file__).parents[2]
PART = """\
handsfree: 2
procedure: part
title: Part
purpose: A part.
trade: plumbing
exits: [good]
gates:
  - {id: one, kind: confirm, title: "🔧 Open", source: a test, prompt: Tap open., done: [running], then: exit good}
"""
WHOLE = """\
handsfree: 2
procedure: whole
title: Whole
purpose: A part and an end.
trade: plumbing
gates:
  - {id: part, kind: include, file: part.yaml, exits: {good: two}}
  - {id: two, kind: confirm, title: Two, source: a test, prompt: Tap back., done: [closed again], needs: {}}
  - {id: finish, kind: finish, title: Finish, source: a test}
"""
FAULTY = WHOLE.replace("source: a test, prompt: Tap back.", "prompt: Tap back.")
UNREADABLE_PART = PART.replace("kind: confirm", "kind: confrm")
UNREADABLE = WHOLE.replace("kind: confirm", "kind: confrm")


class Editor(LanguageClient):
    """A client that keeps what it is told of each file."""

    def __init__(self) -> None:
        super().__init__("editor", "1")
        self.told: asyncio.Queue[lsp.PublishDiagnosticsParams] = asyncio.Queue()

        @self.feature(lsp.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS)
        def keep(params: lsp.PublishDiagnosticsParams) -> None:
            self.told.put_nowait(params)

    async def begin(self, folder: Path) -> None:
        env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])}
        await self.start_io(sys.executable, "-m", "handsfree.commands.app", "language-server", env=env)
        given = lsp.InitializeParams(capabilities=lsp.ClientCapabilities(), root_uri=folder.as_uri())
        done = await self.initialize_async(given)
        assert done.server_info is not None
        assert done.server_info.name == "handsfree"
        self.initialized(lsp.InitializedParams())

    def open(self, path: Path, text: str) -> None:
        item = lsp.TextDocumentItem(path.as_uri(), "yaml", 1, text)
        self.text_document_did_open(lsp.DidOpenTextDocumentParams(item))

    def change(self, path: Path, text: str, version: int) -> None:
        of = lsp.VersionedTextDocumentIdentifier(uri=path.as_uri(), version=version)
        whole = lsp.TextDocumentContentChangeWholeDocument(text=text)
        self.text_document_did_change(lsp.DidChangeTextDocumentParams(of, [whole]))

    async def findings(self, path: Path) -> list[str]:
        """Return the next findings in a file, each as `handsfree check --annotations` prints it."""
        names = {1: "error", 2: "warning", 3: "note"}
        while True:
            told = await asyncio.wait_for(self.told.get(), 60)
            if told.uri == path.as_uri():
                return [
                    f"{path}:{one.range.start.line + 1}:{one.range.start.character + 1}: "
                    f"{names[int(one.severity or 0)]}: {one.message} [{one.code}]"
                    for one in told.diagnostics
                ]

    async def end(self) -> None:
        await self.shutdown_async(None)
        self.exit(None)
        await self.stop()


def checked(path: Path) -> list[str]:
    return CliRunner().invoke(app, ["check", "--annotations", str(path)]).output.splitlines()


async def _talk(folder: Path) -> None:
    whole, part = folder / "whole.yaml", folder / "part.yaml"
    part.write_text(PART, encoding="utf-8")
    editor = Editor()
    await editor.begin(folder)
    for number, text in enumerate((FAULTY, UNREADABLE, WHOLE)):
        if number:
            editor.change(whole, text, number + 1)
        else:
            editor.open(whole, text)  # it is not on disk yet
        found = await editor.findings(whole)
        whole.write_text(text, encoding="utf-8")
        assert found == checked(whole)
        assert bool([one for one in found if ": error: " in one]) == (text != WHOLE)
    # what is typed into an included file is found in whatever was read with it
    opened = PART.replace("source: a test, ", "")
    editor.open(part, opened)
    alone = await editor.findings(part)
    part.write_text(opened, encoding="utf-8")
    assert alone == checked(part)
    included = [one for one in checked(whole) if one.startswith(str(part))]
    assert included
    assert set(included) <= set(await editor.findings(part))
    of = lsp.TextDocumentIdentifier(whole.as_uri())
    line = WHOLE.splitlines()[7]
    position = lsp.Position(7, line.index("needs: {") + len("needs: {") - len("needs: {}") + 1)
    offers = await editor.text_document_completion_async(lsp.CompletionParams(of, position))
    assert isinstance(offers, list)
    assert {"alters: ", "restores: "} <= {one.insert_text for one in offers}
    told = await editor.text_document_hover_async(lsp.HoverParams(of, lsp.Position(7, line.index("confirm") + 2)))
    assert isinstance(told, lsp.Hover)
    assert "| `done` |" in json.dumps(told.contents.value if isinstance(told.contents, lsp.MarkupContent) else "")
    # the client counts in UTF-16: the spanner before the word counts as two
    line = opened.splitlines()[7]
    at = lsp.Position(7, len(line[: line.index("then:")].encode("utf-16-le")) // 2)
    asked = lsp.HoverParams(lsp.TextDocumentIdentifier(part.as_uri()), at)
    told = await editor.text_document_hover_async(asked)
    assert isinstance(told, lsp.Hover)
    assert "**then**" in json.dumps(told.contents.value if isinstance(told.contents, lsp.MarkupContent) else "")
    editor.text_document_did_close(lsp.DidCloseTextDocumentParams(of))
    assert await editor.findings(whole) == []
    await editor.end()


@pytest.mark.slow("it starts the program, which proves four files")
def test_an_editor_is_told_what_check_finds_and_helped_to_write(tmp_path: Path) -> None:
    asyncio.run(_talk(tmp_path))


def test_a_file_that_was_never_saved_is_closed_with_nothing_told_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There are no lines to be read of it then, in the editor or on disk."""
    server = language_server()
    told: list[lsp.PublishDiagnosticsParams] = []
    monkeypatch.setattr(server, "text_document_publish_diagnostics", told.append)
    monkeypatch.setattr(server.protocol, "_workspace", Workspace(None))

    def opened(name: str, text: str) -> None:
        uri = (tmp_path / name).as_uri()
        server.workspace.put_text_document(lsp.TextDocumentItem(uri, "yaml", 1, text))
        asyncio.run(server.changed(uri, 0))

    def closed(name: str) -> None:
        uri = (tmp_path / name).as_uri()
        server.workspace.remove_text_document(uri)
        server.forget(uri)

    opened("unsaved.yaml", "stories_of: [\n")
    closed("unsaved.yaml")
    assert [bool(one.diagnostics) for one in told] == [True, False]
    opened("part.yaml", UNREADABLE_PART)
    opened("whole.yaml", WHOLE)
    del told[:]
    closed("part.yaml")  # the other file, which includes it, still finds the same in it
    assert [(one.uri, bool(one.diagnostics)) for one in told] == [((tmp_path / "part.yaml").as_uri(), True)]


def listening(monkeypatch: pytest.MonkeyPatch) -> tuple[ProcedureServer, dict[str, list[str]]]:
    """Return a server without a client, and what it tells of each file, by name."""
    server = language_server()
    told: dict[str, list[str]] = {}
    keep = lambda given: told.update({Path(given.uri).name: [one.message for one in given.diagnostics]})  # noqa: E731
    monkeypatch.setattr(server, "text_document_publish_diagnostics", keep)
    monkeypatch.setattr(server.protocol, "_workspace", Workspace(None))
    return server, told


def test_a_name_in_a_story_is_held_against_its_procedure_as_that_is_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A gate that is renamed in the procedure is told in the stories at once."""
    server, told = listening(monkeypatch)
    story = "{story: All, undone: [two], steps: [{go: end}], ends: finished}"
    stories = f"handsfree: 2\nstories_of: whole\nstories: [{story}]\n"

    def typed(name: str, text: str) -> None:
        (tmp_path / name).write_text(text, encoding="utf-8")
        uri = (tmp_path / name).as_uri()
        server.workspace.put_text_document(lsp.TextDocumentItem(uri, "yaml", 1, text))
        asyncio.run(server.changed(uri, 0))

    (tmp_path / "part.yaml").write_text(PART, encoding="utf-8")
    typed("whole.yaml", WHOLE)
    typed("whole.tests.yaml", stories)
    assert told["whole.tests.yaml"] == []
    typed("whole.yaml", WHOLE.replace("id: two", "id: second").replace("good: two", "good: second"))
    assert told["whole.tests.yaml"] == ["there is no gate 'two'"]


NO_SUCH_RULE = """\
checklist:
  - line: The drop
    items:
      - {says: Everything asked for was read, rule: nonesuch}
"""


def test_a_fault_in_an_authors_trade_is_told_and_gone_as_it_is_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It stands in the trade's own file, and mending it there is enough."""
    server, told = listening(monkeypatch)
    folder = shutil.copytree(ROOT / "tests" / "trades" / "own", tmp_path / "own")
    procedure, words = folder / "brew-check.yaml", folder / "trades" / "coffee-machine" / "english.yaml"

    async def typed(path: Path, text: str) -> None:
        server.workspace.put_text_document(lsp.TextDocumentItem(path.as_uri(), "yaml", 1, text))
        await server.changed(path.as_uri(), 0)

    async def talk() -> None:
        whole = words.read_text("utf-8")
        await typed(procedure, procedure.read_text("utf-8"))
        assert told["brew-check.yaml"] == []
        await typed(words, whole.replace("  brew_temperature:", "  brew_temp:"))
        fault = "quantities lacks brew_temperature; see what english.yaml of the program has there"
        assert told["english.yaml"] == [fault]
        await typed(words, whole)
        assert (told["english.yaml"], told["brew-check.yaml"]) == ([], [])
        checklist = words.with_name("checklist.yaml")  # `check` refuses it, and so does the editor
        checklist.write_text(NO_SUCH_RULE, "utf-8")
        await typed(procedure, procedure.read_text("utf-8"))
        assert told["checklist.yaml"] != []
        await typed(checklist, NO_SUCH_RULE.replace("nonesuch", "asked"))
        assert told["checklist.yaml"] == []

    asyncio.run(talk())
