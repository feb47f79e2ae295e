"""The language server: an editor's open files are read as they stand there, and told of as `check` does.

Language Server Protocol 3.17, over standard input and output, on pygls. Only this module knows the protocol.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from lsprotocol import types as lsp
from pygls.lsp.server import LanguageServer
from pygls.uris import from_fs_path, to_fs_path

from handsfree import __version__
from handsfree.documents import Document, all_faults, parse_document, read_document, validate
from handsfree.editor.hover import hover
from handsfree.editor.offers import CompletionOffer, offers
from handsfree.editor.whole_review import whole_review
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.review import LANGUAGE, ReviewNote, of_problem
from handsfree.stories.file import StoriesFile
from handsfree.stories.names import unknown_names
from handsfree.stories.running import procedure_of

REST_S = 0.4
"""How long nothing is typed before the proofs begin."""

_PROCEDURE = re.compile(r"^(procedure|gates)\s*:", re.MULTILINE)
_STORIES = re.compile(r"^stories_of\s*:", re.MULTILINE)
_WORD = re.compile(r"[^\s,\[\]{}#]+")
_SEVERITY = {
    "error": lsp.DiagnosticSeverity.Error,
    "warning": lsp.DiagnosticSeverity.Warning,
    "note": lsp.DiagnosticSeverity.Information,
}
_KIND = {
    "key": lsp.CompletionItemKind.Property,
    "value": lsp.CompletionItemKind.EnumMember,
    "name": lsp.CompletionItemKind.Reference,
    "target": lsp.CompletionItemKind.Event,
}

Told = dict[Path, list[ReviewNote]]
"""What is to be told of each file."""


class ProcedureServer(LanguageServer):
    """Keeps what is told of each open file, and with which other files it was read."""

    def __init__(self) -> None:
        super().__init__(
            "handsfree", f"v{__version__}", text_document_sync_kind=lsp.TextDocumentSyncKind.Incremental
        )
        self._told: dict[Path, Told] = {}
        self._read_with: dict[Path, set[Path]] = {}
        self._latest: dict[Path, int] = {}
        self._proving = asyncio.Lock()

    def place(self, uri: str, position: lsp.Position) -> tuple[str, int, int, Path] | None:
        """Return text, line, column and folder of a place in an open procedure; None in any other file."""
        path, document = to_fs_path(uri), self.workspace.get_text_document(uri)
        if path is None or not _PROCEDURE.search(document.source):
            return None
        at = self.workspace.position_codec.position_from_client_units(document.lines, position)
        return document.source, at.line, at.character, Path(path).parent

    def read(self, path: Path) -> Document:
        """Return a file as it stands in the editor, else as it lies on disk."""
        written = self.workspace.text_documents.get(_uri(path))
        return read_document(path) if written is None else parse_document(written.source, str(path))

    async def changed(self, uri: str, rest: float) -> None:
        """Prove a file anew, and each open one that was read with it, once nothing has been typed for a while."""
        path = Path(to_fs_path(uri) or "")
        roots = [root for root, others in self._read_with.items() if path in others and root != path]
        await asyncio.gather(*(self._review(one, rest) for one in (path, *roots)))

    async def _review(self, path: Path, rest: float) -> None:
        number = self._latest[path] = self._latest.get(path, 0) + 1
        await asyncio.sleep(rest)
        async with self._proving:
            if self._latest.get(path) != number:
                return
            text = self.workspace.text_documents.get(_uri(path))
            told, others = await asyncio.to_thread(self._findings, path, text.source if text else "")
        if self._latest.get(path) == number and text is not None:
            self._read_with[path] = others
            self._tell(path, told)

    def _findings(self, path: Path, text: str) -> tuple[Told, set[Path]]:
        if _STORIES.search(text):
            others: set[Path] = set()
            return _by_file(path, _story_notes(path, text, self.read, others)), others
        if not _PROCEDURE.search(text):
            return {path: []}, set()
        review = whole_review(path, self.read)
        sources = review.report.procedure.sources if review.report else ()
        told = _by_file(path, review.notes())
        return told, {*(Path(one.file) for _, one in sources), *told} - {path}

    def forget(self, uri: str) -> None:
        """Tell nothing more of a file that was closed."""
        path = Path(to_fs_path(uri) or "")
        self._latest.pop(path, None)
        self._read_with.pop(path, None)
        self._tell(path, {})

    def _tell(self, root: Path, told: Told) -> None:
        """Publish what is known of every file that this changes: found in it by whichever open file reads it."""
        before = self._told.pop(root, {})
        if told:
            self._told[root] = told
        for path in dict.fromkeys((*told, *before)):  # the file itself first, always
            notes = [note for each in self._told.values() for note in each.get(path, ())]
            uri = _uri(path)
            lines = self._lines(uri) if notes else []
            codec = self.workspace.position_codec
            found = [
                lsp.Diagnostic(
                    range=codec.range_to_client_units(lines, _range(note, lines)),
                    message=note.what,
                    severity=_SEVERITY[note.level],
                    code=note.rule,
                    source="handsfree",
                )
                for note in dict.fromkeys(notes)
            ]
            self.text_document_publish_diagnostics(lsp.PublishDiagnosticsParams(uri=uri, diagnostics=found))

    def _lines(self, uri: str) -> list[str]:
        """Return the lines of a file, in the editor or on disk; none of one that was closed and never saved."""
        try:
            return list(self.workspace.get_text_document(uri).lines)
        except OSError:
            return []


def _uri(path: Path) -> str:
    return from_fs_path(str(path)) or ""


def _by_file(path: Path, notes: Iterator[ReviewNote]) -> Told:
    told: Told = {path: []}
    for note in notes:
        told.setdefault(Path(note.place.file), []).append(note)
    return told


def _story_notes(
    path: Path, text: str, read: Callable[[Path], Document], others: set[Path]
) -> Iterator[ReviewNote]:
    """Yield what is wrong in the writing of stories; whether they go as told is for `handsfree test`.

    `others` takes the files that were read with them: a change there can make a name one of nothing.
    """
    try:
        document = parse_document(text, str(path))
        faults = all_faults(StoriesFile, document)
        file = validate(StoriesFile, document)
    except Problem as problem:
        yield of_problem(problem, path)
        return
    yield from (ReviewNote(LANGUAGE, "error", what, place) for place, what in faults)
    try:
        procedure = load_procedure(procedure_of(path, document, file), read)
    except Problem:
        return  # it is told where it stands, or by `handsfree test`
    others |= {Path(one.file) for _, one in procedure.sources}
    for number, story in enumerate(file.stories):
        for at, what in unknown_names(story, procedure):
            yield ReviewNote(LANGUAGE, "error", what, document.key_place(("stories", number, *at)))


def _range(note: ReviewNote, lines: Sequence[str]) -> lsp.Range:
    """Return the word at a note's place."""
    line, start = note.place.line - 1, note.place.column - 1
    word = _WORD.match(lines[line], start) if line < len(lines) else None
    return lsp.Range(lsp.Position(line, start), lsp.Position(line, word.end() if word else start + 1))


def _completion(offer: CompletionOffer, number: int) -> lsp.CompletionItem:
    return lsp.CompletionItem(
        label=offer.text,
        kind=_KIND[offer.sort],
        documentation=lsp.MarkupContent(lsp.MarkupKind.Markdown, offer.says) if offer.says else None,
        insert_text=f"{offer.text}: " if offer.sort == "key" else offer.text,
        sort_text=f"{number:04d}",
    )


def language_server() -> ProcedureServer:
    """Return the server with everything that it does; `start_io` runs it."""
    server = ProcedureServer()

    @server.feature(lsp.TEXT_DOCUMENT_DID_OPEN)
    async def opened(params: lsp.DidOpenTextDocumentParams) -> None:
        await server.changed(params.text_document.uri, 0)

    @server.feature(lsp.TEXT_DOCUMENT_DID_CHANGE)
    async def changed(params: lsp.DidChangeTextDocumentParams) -> None:
        await server.changed(params.text_document.uri, REST_S)

    @server.feature(lsp.TEXT_DOCUMENT_DID_CLOSE)
    def closed(params: lsp.DidCloseTextDocumentParams) -> None:
        server.forget(params.text_document.uri)

    triggers = lsp.CompletionOptions(trigger_characters=[" ", "$", "[", "{", "-"])

    @server.feature(lsp.TEXT_DOCUMENT_COMPLETION, triggers)
    def complete(params: lsp.CompletionParams) -> list[lsp.CompletionItem]:
        place = server.place(params.text_document.uri, params.position)
        found = offers(*place, server.read) if place is not None else []
        return [_completion(offer, number) for number, offer in enumerate(found)]

    @server.feature(lsp.TEXT_DOCUMENT_HOVER)
    def told(params: lsp.HoverParams) -> lsp.Hover | None:
        place = server.place(params.text_document.uri, params.position)
        says = hover(*place, server.read) if place is not None else None
        return None if says is None else lsp.Hover(lsp.MarkupContent(lsp.MarkupKind.Markdown, says))

    return server
